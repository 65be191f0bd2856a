// Each clip over the take: which frames are there and what is wrong with them, and its rings.

const CLIP_PARTS = [
    ["missing", "missing", "missing"], ["doubled", "doubled", "the frame before again"], ["black", "black", "black"],
    ["damaged", "damaged", "can’t be read"],
];
// A ring that moves by less than this share stands still.
const RINGS = [
    { key: "focus_m", name: () => "focus", unit: "m", digits: 2, still: 0.01, form: (value) => focusWords(value, 2) },
    { key: "iris", name: (camera) => (camera.iris_in_t_stops ? "T-stop" : "f-number"), unit: "", digits: 2, still: 0.01,
        form: (value, camera) => `${camera.iris_in_t_stops ? "T" : "f/"}${numeral(value, 2)}` },
    { key: "focal_course_mm", name: () => "focal length", unit: "mm", digits: 2, still: 0.05, form: (value) => `${numeral(value, 2)} mm` },
];

function ringsOf(camera) {
    return RINGS.map((ring) => ({ ...ring, span: courseSpan(camera[ring.key]) })).filter((ring) => ring.span)
        .map((ring) => ({ ...ring, moves: ring.span.high > ring.span.low * (1 + ring.still) }));
}

function ringDiagram(page, index, ring) {
    const { survey } = page, camera = survey.cameras[index], { low, high } = ring.span, room = (high - low) * 0.12;
    return fitted((width) => timeDiagram(page, width, { height: 170, label: `${camera.name}: ${ring.name(camera)} over the take`,
        y: { low: low - room, high: high + room, about: 3, name: `${ring.name(camera)}${ring.unit ? ", " + ring.unit : ""}` },
        content: (at) => courseCurve(at, camera[ring.key], survey.last, "measured") }));
}

function clipWords(page, index) {
    const { survey } = page, camera = survey.cameras[index];
    const wrong = CLIP_PARTS.filter(([key]) => camera[key].length)
        .map(([key, , words]) => make("span", { class: key === "doubled" ? "" : "flag" }, `${words}: ${runsWords(camera[key])}. `));
    const knocks = camera.knocks.map((knock, k) => make("span", { class: knock.as === "off" ? "flag" : "" },
        `knocked at ${knock.frame}: `, figure(survey, `cameras.${index}.knocks.${k}.turn_px`, { digits: 1, unit: "px" }), " (",
        figure(survey, `cameras.${index}.knocks.${k}.turn_deg`, { digits: 3, unit: "°" }), ")",
        { parts: ", solved in two parts. ", "taken out": ", taken out with its shake. " }[knock.as] || ". "));
    const rings = ringsOf(camera).map((ring) => (ring.moves
        ? `${ring.name(camera)} moves. ` : `${ring.form(ring.span.low, camera)} all the time. `));
    return [wrong.length || knocks.length ? null : "all frames are there. ", wrong, knocks, make("span", { class: "quiet" }, rings)];
}

function clipBlock(page, index) {
    const { survey } = page, camera = survey.cameras[index];
    const there = [[survey.first, survey.last]];
    return make("div", { class: "clip-time", "data-camera": index },
        make("p", {}, make("strong", { class: "file" }, camera.name), " ", clipWords(page, index)),
        fitted((width) => strip(page, width, { label: `${camera.name}: frames of the take`,
            parts: [{ runs: there, style: camera.placed ? "there" : "unused" },
                ...CLIP_PARTS.map(([key, style]) => ({ runs: camera[key], style }))],
            marks: camera.knocks.map((knock) => ({ frame: knock.frame, style: "knock", words: `knocked at frame ${knock.frame}` })) })),
        ringsOf(camera).filter((ring) => ring.moves).map((ring) => ringDiagram(page, index, ring)));
}

// The panorama's own frames, in a row above the clips.
function panoramaBlock(page) {
    const { survey } = page, { frames } = survey;
    const runs = (letter) => {
        const out = [];
        [...frames.states].forEach((state, index) => {
            if (state !== letter) return;
            const frame = survey.first + index;
            if (out.length && out[out.length - 1][1] === frame - 1) out[out.length - 1][1] = frame;
            else out.push([frame, frame]);
        });
        return out;
    };
    const parts = [["m", "there", "made"], ["k", "kept", "kept"], ["g", "missing", "gone"]]
        .map(([letter, style, words]) => ({ runs: runs(letter), style, words }));
    return make("div", { class: "clip-time" },
        make("p", {}, make("strong", {}, "The panorama "), parts.filter((part) => part.runs.length)
            .map((part) => make("span", { class: part.style === "missing" ? "flag" : "" }, `${part.words}: ${runsWords(part.runs)}. `))),
        fitted((width) => strip(page, width, { label: "Frames of the panorama", parts })));
}

function clipsLegend(page) {
    const { survey } = page;
    const swatch = (style) => draw("svg", { class: "mark", width: 36, height: 18, viewBox: "0 0 36 18", "aria-hidden": "true" },
        draw("rect", { class: "bar-part " + style, x: 1, y: 1, width: 34, height: 16 }));
    const any = (key) => survey.cameras.some((camera) => camera[key].length);
    const states = survey.frames ? survey.frames.states : "";
    return make("ul", { class: "legend" }, [
        [swatch("there"), states.includes("m") ? "there; of the panorama: made now" : "there"],
        states.includes("k") ? [swatch("kept"), "kept from an earlier run"] : null,
        any("missing") || states.includes("g") ? [swatch("missing"), "missing"] : null,
        any("black") ? [swatch("black"), "black"] : null,
        any("doubled") ? [swatch("doubled"), "the frame before again"] : null,
        any("damaged") ? [swatch("damaged"), "can’t be read"] : null,
        survey.cameras.some((camera) => !camera.placed) ? [swatch("unused"), "has no place on the mount"] : null,
        any("knocks") ? [draw("svg", { class: "mark", width: 36, height: 18, viewBox: "0 0 36 18", "aria-hidden": "true" },
            draw("path", { class: "strip-mark knock", d: "M18 18V10l-6 -9h12l-6 9" })), "knocked"] : null,
    ].filter(Boolean).map(([mark, words]) => make("li", {}, mark, words)));
}

function showClips(page, section) {
    section.append(clipsLegend(page), page.survey.frames ? panoramaBlock(page) : "",
        ...page.survey.cameras.map((_, index) => clipBlock(page, index)));
}
