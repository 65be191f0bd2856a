// A lens's shading measured from flat fields: one setting of it, section by section.

// Stops go down as the light does; all diagrams of a page share one scale.
function stopsScale(page) {
    const all = page.lens.settings.flatMap((setting) => [
        ...setting.curve.flatMap((at) => [at.stops, at.natural_stops]),
            ...setting.profile.flatMap((ring) => [ring.brightest_stops, ring.darkest_stops])])
        .filter((value) => typeof value === "number");
    const lowest = Math.min(...all);  // a hair above the middle's light is noise
    return { name: "stops less light than in the middle", low: lowest > -0.03 ? 0 : lowest, high: Math.max(0.05, ...all), down: true };
}

function falloffCurves(at, setting, small) {
    const natural = setting.curve.filter((p) => p.natural_stops !== null).map((p) => [p.height_mm, p.natural_stops]);
    return [
        small ? null : setting.profile.map((ring) => draw("path", { class: "spread",
            d: `M${at.x(ring.height_mm).toFixed(1)} ${at.y(ring.brightest_stops).toFixed(1)}V${at.y(ring.darkest_stops).toFixed(1)}` })),
        natural.length ? draw("path", { d: linePath(at, natural), class: "curve natural" }) : null,
        draw("path", { d: linePath(at, setting.curve.map((p) => [p.height_mm, p.stops])), class: "curve measured" }),
        setting.profile.map((ring) => draw("circle", { cx: at.x(ring.height_mm), cy: at.y(ring.stops), r: small ? 1.6 : 4,
            class: small ? "ring-small" : "ring" }))];
}

const heightsOf = (setting) => setting.curve[setting.curve.length - 1].height_mm;

function shadingOverview(page, section) {
    const { settings } = page.lens, scale = stopsScale(page);
    section.append(make("p", { class: "lead" }, "Stops of light lost against image height in mm, all on one scale. Tap one to see it large."),
        make("div", { class: "multiples" }, settings.map((setting, index) => {
            const corner = `settings.${index}.heights.${setting.heights.length - 1}.stops`;
            return page.settingButton(index, [make("span", { class: "name" }, setting.name),
                make("span", { class: "corner" }, figure(page.lens, corner, { digits: 2, unit: "stops at the corner" })),
                fitted((width) => diagram(width, { small: true, height: 130, label: setting.name,
                    x: { low: 0, high: heightsOf(setting), about: 4 },
                    y: { ...scale, about: 4 }, content: (at) => falloffCurves(at, setting, true) }))]);
        })));
}

function showFalloff(page, section) {
    const { setting } = page, corner = setting.heights.length - 1, scale = stopsScale(page);
    const natural = setting.heights[corner].natural_stops !== null;
    section.append(
        make("p", { class: "lead" }, page.figure(`heights.${corner}.stops`, { digits: 2, unit: "stops" }),
            " less light in the corner than in the middle",
            natural ? ["; the cosine-fourth law makes ", page.figure(`heights.${corner}.natural_stops`,
                { digits: 2, unit: "stops" }), " of it"] : null, "."),
        fitted((width) => diagram(width, { height: Math.max(280, Math.min(440, width * 0.55)),
            label: "Stops of light lost against image height",
            x: { low: 0, high: heightsOf(setting), name: "recorded image height, mm" }, y: scale,
                content: (at) => falloffCurves(at, setting, false) })),
        legend([[draw("circle", { cx: 18, cy: 9, r: 4, class: "ring" }), "measured: median of the cells at that height, the lamp taken out"],
            [draw("path", { d: "M18 1V17", class: "spread" }), "eight of ten cells"], [lineMark("curve measured"), "fit"],
            natural ? [lineMark("curve natural"), "cosine-fourth law at this focal length"] : null]),
        natural ? make("span") : make("p", { class: "note" },
            "With the focal length known (--focal, or a lens table measured from charts) the cosine-fourth law stands here as well."));
}

const mixed = (a, b, share) => `rgb(${a.map((value, index) => Math.round(value + (b[index] - value) * share)).join(" ")})`;
// Orange for more light than the fit says, blue for less: told apart by eyes of every kind, and the
// pale middle by none.
const MORE = [190, 95, 0], NONE = [245, 243, 238], LESS = [20, 80, 160];

function showCells(page, section) {
    const mine = page.lens.pictures.map((picture, index) => [picture, index]).filter(([picture]) => picture.setting === page.chosen);
    const rest = mine.flatMap(([picture]) => picture.rest.filter((value, at) => value !== null && picture.used[at]).map(Math.abs));
    const full = roundLength(Math.max(4, 2 * percentile(rest, 0.98)));
    const darkest = Math.min(...mine.flatMap(([picture]) => picture.recorded.filter((value, at) => value !== null && picture.used[at])));
    const grey = (value) => mixed([30, 30, 34], [250, 249, 245], Math.max(0, Math.min(1, (value - darkest) / (1000 - darkest))));
    const two = (value) => mixed(NONE, value > 0 ? MORE : LESS, Math.min(1, Math.abs(value) / full));
    section.append(
        make("p", { class: "lead" }, "The field as the lens records it, the lamp’s own tilt taken out; " +
            "and the same with the falloff divided out. ",
            `Left: black is ${numeral(darkest / 10, 0)} % of the light in the middle. ` +
            `Right: orange is ${numeral(full / 10, 1)} % too much light, blue ${numeral(full / 10, 1)} % too little. ` +
            `A cross: left out (dust, a dead pixel, a stain).`),
        make("div", { class: "fields" }, mine.map(([picture, index]) => make("figure", {},
            make("div", { class: "pair" },
                cellPicture(picture.columns, picture.rows, (at) => (picture.recorded[at] === null ? null
                    : grey(picture.recorded[at])), (at) => picture.used[at], `${picture.file}, before`),
                cellPicture(picture.columns, picture.rows, (at) => (picture.rest[at] === null ? null : two(picture.rest[at])),
                    (at) => picture.used[at], `${picture.file}, after`)),
            make("figcaption", {}, make("span", { class: "file" }, picture.file), ": leaves ",
                figure(page.lens, `pictures.${index}.rms`, { digits: 2, scale: 100, unit: "% RMS" }),
                ", lamp ", figure(page.lens, `pictures.${index}.lamp_tilt_stops`, { digits: 2, unit: "stops" }), " from side to side, ",
                figure(page.lens, `pictures.${index}.ignored_cells`), picture.ignored_cells === 1 ? " cell left out" : " cells left out")))));
}

function showShadingFigures(page, section) {
    const { settings } = page.lens;
    const number = (value) => make("td", {}, make("span", { class: "figure" }, value === 0 ? "0"
        : value.toExponential(4).replace(/-/g, "\u2212")));
    section.append(table(["", "1/2", "3/4", "corner", "cosine⁴", "other", "opened up", "corner ± %", "RMS %", "used cells",
        "left out"], settings.map((setting, index) => {
        const of = (path, options) => make("td", {}, figure(page.lens, `settings.${index}.${path}`, options));
        return make("tr", { "data-setting": index }, make("th", { scope: "row" }, page.settingButton(index)),
            [0, 1, 2].map((height) => of(`heights.${height}.stops`, { digits: 2 })),
            ["natural_stops", "other_stops", "opened_stops"].map((key) => of(`heights.2.${key}`, { digits: 2 })),
            of("corner_sigma", { digits: 3, scale: 100 }), of("rms", { digits: 3, scale: 100 }), of("used_cells"), of("ignored_cells"));
    })),
    make("p", { class: "note" }, "Stops less light than in the middle, at half, three quarters and all of the way to the corner. " +
        "Opened up: against the smallest iris of the same focus."),
    make("details", {}, make("summary", {}, "Coefficients"), table(["", "a1 mm⁻²", "a2 mm⁻⁴", "a3 mm⁻⁶"], settings.map((setting) =>
        make("tr", {}, make("th", { scope: "row" }, setting.name), number(setting.a1), number(setting.a2), number(setting.a3))))));
}

const SHADING_SECTIONS = [
    ["falloff", "Falloff", "Stops against image height", showFalloff],
    ["cells", "Fields", "Before and after", showCells],
    ["all", "Figures", "All figures", showShadingFigures],
];
