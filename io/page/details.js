// The figures of what was tapped: a plate, or two plates that overlap.

const PLATE_FIGURES = [
    ["Focus", "focus_m", { digits: 2, unit: "m" }],
    ["T-stop", "t_stop", { digits: 2 }],
    ["f-stop", "f_stop", { digits: 2 }],
    ["ISO", "iso", {}],
    ["Focal length", "focal_mm", { digits: 2, unit: "mm" }],
    ["Gain", "gain_stops", { digits: 2, unit: "stops" }],
    ["Exposure by its data", "exposure_stops", { digits: 2, unit: "stops" }],
    ["Clipped", "clipped", { digits: 2, unit: "%", scale: 100 }],
    ["Crushed", "crushed", { digits: 2, unit: "%", scale: 100 }],
    ["Detail against neighbours", "sharpness", { digits: 2 }],
];

function chosenPlates(page, selected) {
    if (selected.plate !== undefined) return [selected.plate];
    if (selected.pair !== undefined) {
        const { a, b } = page.survey.pairs[selected.pair];
        return [a, b];
    }
    return [];
}

function thumbnailOf(page, index) {
    const source = page.thumbnails[index];
    return source ? make("img", { src: source, alt: "", class: "thumbnail" })
        : make("div", { class: "thumbnail blank" }, "no picture");
}

function poseLine(page, index) {
    const at = `plates.${index}.`;
    if (!page.survey.plates[index].placed) return null;
    return make("p", { class: "pose" },
        "pan ", figure(page.survey, at + "pan_deg", { digits: 1 }), "° · tilt ",
        figure(page.survey, at + "tilt_deg", { digits: 1 }), "° · roll ",
        figure(page.survey, at + "roll_deg", { digits: 2 }), "°");
}

function pairsOf(page, index) {
    return page.survey.pairs.map((pair, number) => ({ ...pair, number }))
        .filter((pair) => pair.a === index || pair.b === index).sort((p, q) => q.overlap - p.overlap);
}

function neighbourRow(page, index, pair) {
    const other = pair.a === index ? pair.b : pair.a, at = `pairs.${pair.number}.`;
    return make("li", {}, make("button", { type: "button", "data-pair": pair.number, onclick: () => page.select({ pair: pair.number }) },
        `with ${page.survey.plates[other].number}: `, figure(page.survey, at + "overlap", { scale: 100, unit: "%" }),
        " overlap, ", figure(page.survey, at + "ties", {}), " ties"));
}

function plateDetails(page, index) {
    const plate = page.survey.plates[index], at = `plates.${index}.`;
    const told = page.survey.findings.filter((finding) => finding.plates.includes(plate.file));
    const neighbours = pairsOf(page, index);
    return [
        make("h3", {}, make("span", { class: "number" }, String(plate.number)), " ", make("span", { class: "file" }, plate.file)),
        thumbnailOf(page, index), poseLine(page, index),
        plate.placed ? null : make("p", { class: "why" }, "No place: " + plate.why),
        told.map((finding) => make("p", { class: finding.grave ? "why grave" : "why" }, sentence(finding.text, finding.plates))),
        lines([
            ["Placed by", plate.placed ? ({ ties: "ties", pose: "its pose alone" }[plate.placed_by] || plate.placed_by) : "–"],
            ["Ties", figure(page.survey, at + "ties", {})],
            ["Ties agree to", figure(page.survey, at + "rms_px", { digits: 2, unit: "px" })],
            ["Direction sure to", figure(page.survey, at + "sigma_px", { digits: 2, unit: "px" })],
            ...PLATE_FIGURES.filter(([, key]) => page.survey.plates.some((p) => p[key] !== null && p[key] !== undefined))
                .map(([name, key, form]) => [name, figure(page.survey, at + key, form)]),
            ["Timecode", plate.timecode || "–"],
            ["Lens sample", plate.has_sample ? "yes" : "none"],
        ]),
        neighbours.length ? make("h4", {}, "Neighbours") : null,
        make("ul", { class: "neighbours" }, neighbours.map((pair) => neighbourRow(page, index, pair))),
    ];
}

function pairDetails(page, number) {
    const pair = page.survey.pairs[number], at = `pairs.${number}.`;
    return [
        make("h3", {}, "Where ", page.plateButton(pair.a), " and ", page.plateButton(pair.b), " overlap"),
        make("div", { class: "two" }, thumbnailOf(page, pair.a), thumbnailOf(page, pair.b)),
        lines([
            ["Overlap of the smaller", figure(page.survey, at + "overlap", { digits: 1, scale: 100, unit: "%" })],
            ["Ties", figure(page.survey, at + "ties", {})],
            ["Ties agree to", figure(page.survey, at + "rms_px", { digits: 2, unit: "px" })],
            ["Parallax", figure(page.survey, at + "parallax_px", { digits: 2, unit: "px" })],
        ]),
    ];
}

// Which others see the direction that was tapped, to go on from there.
function alsoHere(page, selected) {
    if (!selected.here || selected.here.length < 2) return null;
    return make("p", { class: "here" }, "Seen here by ", selected.here.map((index) => page.plateButton(index)));
}

function closeButton(page, selected) {
    if (!Object.keys(selected).length) return null;
    return make("button", { type: "button", class: "close", "aria-label": "Close", onclick: () => page.select({}) }, "×");
}

// What is chosen from elsewhere on the page shows its figures there.
function followThePage(panel) {
    new IntersectionObserver(([sphere]) => panel.classList.toggle("away", !sphere.isIntersecting), { rootMargin: "-30% 0px" })
        .observe(document.getElementById("sphere"));
}

function showDetails(page, panel) {
    followThePage(panel);
    page.whenSelected((selected) => {
        panel.classList.toggle("open", Object.keys(selected).length > 0);
        panel.replaceChildren(...[
            selected.plate !== undefined ? plateDetails(page, selected.plate)
                : selected.pair !== undefined ? pairDetails(page, selected.pair)
                    : make("p", { class: "hint" }, selected.nothing_here
                        ? `No plate sees ${selected.nothing_here}.`
                        : "Tap a plate for its figures, or where two overlap for theirs."),
            alsoHere(page, selected), closeButton(page, selected)].flat(2).filter((part) => part !== null));
    });
}
