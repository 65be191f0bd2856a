// A lens measured from pictures of a chart: one setting of it, section by section.

const percentAt = (setting, supported) => {
    const curve = supported ? setting.distortion.filter((at) => at.supported) : setting.distortion;
    return curve.length ? setting.distortion.indexOf(curve[curve.length - 1]) : 0;
};

function showGrid(page, section) {
    const { setting } = page, usual = exaggerationOf(setting.grid.largest_px, setting.frame);
    const said = make("strong", { id: "exaggeration" }), holder = make("div");
    const buttons = [...new Set([usual, 1])].map((times) => make("button", { type: "button", onclick: () => show(times) },
        times === 1 ? "As it is" : `${times} times`));
    const show = (times) => {
        said.textContent = times === 1 ? "as strong as it is" : `${times} times as strong as it is`;
        for (const button of buttons) button.setAttribute("aria-pressed",
            String(button.textContent === (times === 1 ? "As it is" : `${times} times`)));
        holder.replaceChildren(fitted((width) => gridDrawing(width, setting, times)));
        fitAll(holder);
    };
    section.append(
        make("p", { class: "lead" }, "A straight grid in front of the lens, and how it is recorded, drawn ", said,
            ". The place that moves furthest moves ", page.figure("grid.largest_px", { digits: 1, unit: "px" }), "."),
        buttons.length > 1 ? make("div", { class: "switch", role: "group", "aria-label": "How strong" }, buttons) : make("span"),
        holder,
        legend([[lineMark("grid-recorded"), "recorded"], [lineMark("grid-flat"), "flat"],
            setting.support.share < 0.995 ? [lineMark("grid-beyond"), "beyond the chart’s points: extrapolated"] : null,
            [draw("circle", { cx: 18, cy: 9, r: 6, class: "centre" }), "the distortion’s centre"]]));
    show(usual);
}

function showPercent(page, section) {
    const { setting } = page, curve = setting.distortion, last = percentAt(setting, true), corner = curve.length - 1;
    if (curve.length < 2) {
        section.append(make("p", { class: "note" }, "The lens can't be followed from its middle outward."));
        return;
    }
    const others = page.lens.settings.filter((other) => other !== setting).map((other) => other.distortion.filter((at) => at.supported));
    const values = [curve, ...others].flat().map((at) => at.percent), reach_mm = setting.support.reach_mm;
    const highest_mm = curve[corner].height_mm;
    const content = (at) => [
        reach_mm < highest_mm * 0.995 ? [
            draw("rect", { x: at.x(reach_mm), y: at.box.top, width: at.box.right - at.x(reach_mm),
                height: at.box.bottom - at.box.top, class: "unsupported" }),
            draw("path", { d: `M${at.x(reach_mm)} ${at.box.top}V${at.box.bottom}`, class: "limit" })] : null,
        others.map((other) => draw("path", { d: linePath(at, other.map((p) => [p.height_mm, p.percent])), class: "curve other" })),
        draw("path", { d: linePath(at, curve.slice(last).map((p) => [p.height_mm, p.percent])), class: "curve extrapolated" }),
        draw("path", { d: linePath(at, curve.slice(0, last + 1).map((p) => [p.height_mm, p.percent])), class: "curve measured" })];
    const corner_words = corner > last ? [", ", page.figure(`distortion.${corner}.percent`, { digits: 2, unit: "%" }),
        " extrapolated at the corner"] : null;
    section.append(
        make("p", { class: "lead" }, page.figure(`distortion.${last}.percent`, { digits: 2, unit: "%" }),
            ` (${curve[last].percent < 0 ? "barrel" : "pincushion"}) at `,
                page.figure(`distortion.${last}.height_mm`, { digits: 2, unit: "mm" }),
            ", as far as points reach", corner_words, "."),
        fitted((width) => diagram(width, {
            height: Math.max(260, Math.min(400, width * 0.5)), label: "Distortion in percent against image height",
            x: { low: 0, high: highest_mm, name: "recorded image height, mm" },
            y: { low: Math.min(0, ...values), high: Math.max(0, ...values) + 1e-6, name: "distortion, %" }, content })),
        legend([[lineMark("curve measured"), "supported by points"], corner > last ? [lineMark("curve extrapolated"), "extrapolated"] : null,
            others.length ? [lineMark("curve other"), others.length === 1 ? "the other setting" : "the other settings"] : null]),
        make("p", { class: "note" }, "Percent: (recorded − flat) / flat, both distances from the distortion’s centre, " +
            "along the frame’s diagonal."));
}

function spreadOf(residuals) {
    const lengths = residuals.map(([, , dx, dy]) => Math.hypot(dx, dy)), px = (length) => `${numeral(length, 3)} px`;
    return `half within ${px(percentile(lengths, 0.5))}, nine of ten within ${px(percentile(lengths, 0.9))}, ` +
        `the worst ${px(Math.max(...lengths))}`;
}

function showResiduals(page, section) {
    const { setting } = page, all = setting.residuals;
    const used = setting.pictures.map((picture, index) => [picture, index]).filter(([picture]) => picture.used);
    const words = make("p", { class: "note", id: "residual-words" }), holder = make("div", { class: "frame-picture" });
    const choice = make("select", { "aria-label": "Which points", id: "residual-choice" },
        make("option", { value: "" }, "All pictures, each point"), make("option", { value: "means" }, "All pictures, means of cells"),
        used.map(([picture, index]) => make("option", { value: index }, picture.file)));
    const show = () => {
        const residuals = choice.value === "means" ? cellMeans(all, setting.frame)
            : choice.value === "" ? all : all.filter((point) => point[4] === Number(choice.value));
        words.textContent = !residuals.length ? "No points here."
            : choice.value === "means" ? `${plural(residuals.length, "cell", "cells")} drawn: ${spreadOf(residuals)}.`
            : choice.value === "" && all.length < setting.points
            ? `${all.length} points drawn of ${setting.points}: ${spreadOf(residuals)}.`
            : `${plural(residuals.length, "point", "points")} drawn: ${spreadOf(residuals)}.`;
        const strays = choice.value === "means" ? [] : setting.strays
            .filter((stray) => choice.value === "" || stray[2] === Number(choice.value));
        holder.replaceChildren(fitted((width) => residualDrawing(width, setting, residuals, strays)));
        fitAll(holder);
    };
    choice.addEventListener("change", show);
    section.append(
        make("p", { class: "lead" }, "Where each point was found, from where the lens puts it. ",
            page.figure("rms_px", { digits: 3, unit: "px" }),
            " RMS; a pattern that all pictures share would be left of the lens."),
        make("label", { class: "choice" }, "Show ", choice), words, holder,
        legend([setting.support.share < 0.995 ? [lineMark("reach-edge"), "points of the chart reach so far"] : null,
            setting.strays.length ? [draw("path", { class: "stray", d: "M13 4l10 10m0 -10l-10 10" }),
                `${plural(setting.strays.length, "point", "points")} too far off, left out`] : null]));
    show();
}

function bar(share, style) {
    return make("span", { class: "bar" }, make("span", { class: "filled " + style,
        style: `width:${(100 * Math.min(1, Math.max(0, share))).toFixed(2)}%` }));
}

function pictureRow(page, picture, index, most) {
    const path = `pictures.${index}.`;
    if (!picture.used)
        return make("li", { class: "picture left-out", "data-picture": index }, make("span", { class: "file" }, picture.file),
            make("span", { class: "why grave" }, `Left out: ${picture.why}`));
    const measure = (name, key, style, largest, digits) => make("div", { class: "measure" }, make("span", { class: "name" }, name),
        bar(picture[key] / largest, style), page.figure(path + key, { digits, unit: "px" }));
    return make("li", { class: "picture", "data-picture": index }, make("span", { class: "file" }, picture.file),
        measure("residuals RMS", "rms_px", "plain", most.rms_px, 3),
        measure("bend, recorded", "bend_recorded_px", "hollow", most.bend_px, 2),
        measure("bend, flattened", "bend_flat_px", "plain", most.bend_px, 3));
}

function showChartPictures(page, section) {
    const { pictures } = page.setting, used = pictures.filter((picture) => picture.used);
    const most = { rms_px: Math.max(1e-6, ...used.map((picture) => picture.rms_px)),
        bend_px: Math.max(1e-6, ...used.map((picture) => picture.bend_recorded_px)) };
    const rows = pictures.map((picture, index) => [picture, index]);
    section.append(
        make("p", { class: "lead" }, "Rows and columns of the chart stray from straight lines by up to ",
            page.figure("bend_recorded_px", { digits: 2, unit: "px" }), " as recorded, and by up to ",
                page.figure("bend_flat_px", { digits: 3, unit: "px" }), " flattened."),
        make("ol", { class: "pictures" }, [...rows.filter(([picture]) => !picture.used), ...rows.filter(([picture]) => picture.used)]
            .map(([picture, index]) => pictureRow(page, picture, index, most))),
        make("p", { class: "note" }, "Bend: of each row and column of points, " +
            "how far the furthest point stands off the line’s own best straight line."));
}

function showBeforeAfter(page, section) {
    const { setting } = page, shown = page.pictures[page.chosen];
    if (!setting.shown || !shown || !shown.recorded) {
        section.append(make("p", { class: "note" }, "The pictures could not be read again."));
        return;
    }
    const framed = (name, data, key) => make("figure", { "data-is": key },
        make("div", { class: "guided" }, make("img", { src: "data:image/jpeg;base64," + data,
            alt: `${name}: ${setting.pictures[setting.shown.picture].file}` }),
            draw("svg", { viewBox: "0 0 1 1", preserveAspectRatio: "none", "aria-hidden": "true" }, ["halo", "guide"].map((style) =>
                setting.shown.guides.map((guide) => draw("path", { class: style,
                    d: `M${guide[key][0].join(" ")}L${guide[key][1].join(" ")}` }))))),
        make("figcaption", {}, name));
    const pair = make("div", { class: "before-after guides", "data-show": "both" },
        framed("As recorded", shown.recorded, "recorded"), framed("Flattened", shown.flat, "flat"));
    const toggle = make("button", { type: "button", "aria-pressed": "true", onclick: () => {
        toggle.setAttribute("aria-pressed", String(pair.classList.toggle("guides")));
    } }, "Straight guide lines");
    // One after the other in one place, a small bend shows as a jump.
    const places = [["both", "Side by side"], ["recorded", "As recorded"], ["flat", "Flattened"]].map(([place, words]) =>
        make("button", { type: "button", "data-place": place, "aria-pressed": String(place === "both"), onclick: () => {
            pair.dataset.show = place;
            for (const button of places) button.setAttribute("aria-pressed", String(button.dataset.place === place));
        } }, words));
    section.append(
        make("p", { class: "lead" }, make("span", { class: "file" }, setting.pictures[setting.shown.picture].file),
            ", the picture whose lines bend most: ", page.figure(`pictures.${setting.shown.picture}.bend_recorded_px`,
                { digits: 2, unit: "px" }), " before, ",
            page.figure(`pictures.${setting.shown.picture}.bend_flat_px`, { digits: 3, unit: "px" }), " after."),
        make("div", { class: "switch", role: "group", "aria-label": "Which picture" }, places, setting.shown.guides.length
            ? toggle : null), pair);
}

function table(columns, rows) {
    return make("div", { class: "scroll" }, make("table", {},
        make("thead", {}, make("tr", {}, columns.map((name) => make("th", { scope: "col" }, name)))),
        make("tbody", {}, rows)));
}

function showChartFigures(page, section) {
    const { setting } = page, pair = (key, digits, unit) => [page.figure(key + ".0", { digits }), ", ",
        page.figure(key + ".1", { digits, unit })];
    const number = (path) => make("span", { class: "figure" }, path.split(".").reduce((at, key) => at[key],
        setting).toExponential(5).replace(/-/g, "\u2212"));
    const folded = (name, content) => make("details", {}, make("summary", {}, name), content);
    section.append(lines([
        ["Focal length", [page.figure("focal_mm", { digits: 4 }), " ± ", page.figure("focal_sigma_mm", { digits: 4, unit: "mm" })]],
        ["Distortion’s centre, from the picture’s middle", pair("centre_px", 2, "px")],
        ["… one sigma", pair("centre_sigma_px", 2, "px")],
        ["Optical axis, from the picture’s middle", pair("axis_px", 2, "px")], ["… one sigma", pair("axis_sigma_px", 2, "px")],
        ["Residuals, RMS", page.figure("rms_px", { digits: 4, unit: "px" })],
            ["… of pictures left out in turn", page.figure("held_out_rms_px", { digits: 4, unit: "px" })],
        ["Noise of one coordinate", page.figure("noise_px", { digits: 4, unit: "px" })],
        ["Points", page.figure("points")], ["Points reach", [page.figure("support.reach_mm", { digits: 2, unit: "mm" }), ", ",
            page.figure("support.share", { digits: 1, scale: 100, unit: "% of the half diagonal" })]],
        ["Cells along the frame’s edge with points", page.figure("support.ring_share", { digits: 0, scale: 100, unit: "%" })]]),
    folded(`Coefficients (Brown-Conrady ${setting.direction}, mm)`, lines([
        ...setting.radial.map((value, index) => [`k${index + 1}`, number(`radial.${index}`)]).filter(([, value],
            index) => setting.radial[index] !== 0),
        ...setting.tangential.map((value, index) => [`p${index + 1}`, number(`tangential.${index}`)]).filter((_,
            index) => setting.tangential[index] !== 0)])),
    setting.tried.length ? folded(`${plural(setting.tried.length, "model", "models")} tried`,
        table(["model", "numbers", "held-out RMS px", ""], setting.tried.map((one, index) =>
        make("tr", { class: one.chosen ? "taken" : "" }, make("td", { class: "file" }, one.model),
            make("td", {}, page.figure(`tried.${index}.free_numbers`)),
            make("td", {}, page.figure(`tried.${index}.held_out_rms_px`, { digits: 4 })), make("td", {}, one.chosen ? "taken" : ""))))) : "",
    folded("Every picture", table(["file", "points", "RMS px", "held-out px", "tilt °", "distance m", "edge px"],
        setting.pictures.map((picture, index) =>
        make("tr", {}, make("td", { class: "file" }, picture.file), [["points", 0], ["rms_px", 3], ["held_out_rms_px", 3],
            ["tilt_deg", 1], ["distance_m", 2], ["edge_px", 2]]
            .map(([key, digits]) => make("td", {}, page.figure(`pictures.${index}.${key}`, { digits }))))))));
}

// In 1 / focus distance, in which a lens goes smoothly: a setting that leaves the others' curve was
// measured badly, or its ring was read wrongly.
function breathing(page) {
    const { settings } = page.lens, known = settings.map((setting, index) => [setting, index]).filter(([setting]) => setting.focus_m);
    const places = known.map(([setting]) => 1 / setting.focus_m), values = known.map(([setting]) => setting.focal_mm);
    const same = (key) => new Set(settings.map((setting) => setting[key])).size === 1;
    if (known.length < 2 || known.length !== settings.length || Math.max(...places) - Math.min(...places) < 1e-6 ||
        !same("nominal_focal_mm")) return null;
    const wide = Math.max(...places) - Math.min(...places), half = Math.max(0.001 * values[0],
        (Math.max(...values) - Math.min(...values)) / 2);
    const middle = (Math.max(...values) + Math.min(...values)) / 2;
    const ticksFor = (width) => {
        let last = -Infinity;
        return known.map(([setting], index) => [places[index], numeral(setting.focus_m, setting.focus_m < 10 ? 1 : 0)])
            .sort(([a], [b]) => a - b).filter(([place]) => {
                const x = (place / wide) * (width - 90);
                if (x - last < 44) return false;
                last = x;
                return true;
            });
    };
    return make("figure", { id: "breathing" }, make("figcaption", {}, "Focal length as focus moves (breathing)"),
        fitted((width) => diagram(Math.min(width, 900), { height: 240, label: "Focal length against focus distance",
        x: { low: Math.min(...places) - 0.06 * wide, high: Math.max(...places) + 0.06 * wide,
            name: "focus distance, m (far to near, in 1/m)", ticks: ticksFor(Math.min(width, 900)) },
        y: { low: middle - 1.1 * half, high: middle + 1.1 * half, name: "focal length, mm" },
        content: (at) => [
            draw("path", { class: "curve other", d: linePath(at, known.map(([setting], index) => [places[index],
                setting.focal_mm]).sort(([a], [b]) => a - b)) }),
            known.map(([setting, index], k) => {
                const x = at.x(places[k]), sigma = setting.focal_sigma_mm || 0;
                return draw("g", { class: index === page.chosen ? "point chosen" : "point", "data-choose": index,
                    onclick: () => page.choose(index) },
                    draw("title", {}, setting.name), draw("circle", { cx: x, cy: at.y(setting.focal_mm), r: 22, class: "reach" }),
                    draw("path", { class: "spread",
                        d: `M${x.toFixed(1)} ${at.y(setting.focal_mm - sigma).toFixed(1)}V${at.y(setting.focal_mm + sigma).toFixed(1)}` }),
                    draw("circle", { cx: x, cy: at.y(setting.focal_mm), r: 6, class: "ring" }));
            })] })));
}

function chartOverview(page, section) {
    const { settings } = page.lens;
    section.append(breathing(page) || "", table(["", "focal length mm", "± mm", "distortion at the points’ reach %", "RMS px",
        "points reach %", "pictures"], settings.map((setting, index) => {
        const figure_of = (path, options) => make("td", {}, figure(page.lens, `settings.${index}.${path}`, options));
        return make("tr", { "data-setting": index }, make("th", { scope: "row" }, page.settingButton(index)),
            figure_of("focal_mm", { digits: 3 }), figure_of("focal_sigma_mm", { digits: 4 }),
            figure_of(`distortion.${percentAt(setting, true)}.percent`, { digits: 2 }), figure_of("rms_px", { digits: 3 }),
            figure_of("support.share", { digits: 0, scale: 100 }),
            make("td", {}, `${setting.pictures.filter((picture) => picture.used).length} of ${setting.pictures.length}`));
    })));
}

const CHART_SECTIONS = [
    ["bends", "Distortion", "What the lens does to straight lines", showGrid],
    ["percent", "Percent", "Distortion against image height", showPercent],
    ["before", "Pictures", "Before and after", showBeforeAfter],
    ["residuals", "Residuals", "What the lens leaves over", showResiduals],
    ["straight", "Straightness", "Picture by picture", showChartPictures],
    ["all", "Figures", "All figures", showChartFigures],
];
