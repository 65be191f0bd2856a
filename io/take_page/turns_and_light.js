// What was taken out of the mount's turns, and what brings each camera to the common exposure.

const TURNS = [["pan_deg", "pan", "measured"], ["tilt_deg", "tilt", "extrapolated"], ["roll_deg", "roll", "rolled"]];

const SHAKE_WORDS = { lock: "Locked: the panorama stands as if nothing had shaken.",
    follow: "Followed: the panorama goes along a smooth path of the mount’s." };

function shakeDiagram(page, index, unit, scale, most) {
    const { survey } = page, shake = survey.shakes[index], alone = survey.shakes.length === 1;
    return fitted((width) => timeDiagram(page, width, { height: alone ? Math.max(220, Math.min(340, width * 0.34)) : 200,
        label: "The turn over the take", y: { low: -most, high: most, name: unit === "px" ? "px of the panorama" : "degrees" },
        content: (at) => TURNS.map(([key, , style]) => courseCurve(at,
            shake[key].map((value, frame) => [survey.first + frame, value * scale]), survey.last, style)) }));
}

function shakeFigure(page, index, unit, scale, most) {
    const { survey } = page, shake = survey.shakes[index], at = `shakes.${index}.`;
    return make("figure", { "data-shake": index }, make("figcaption", {},
        survey.shakes.length === 1 && shake.camera === null ? null : [make("strong", { class: "file" },
            shake.camera === null ? "All cameras together" : survey.cameras[shake.camera].name), " "],
        figure(survey, at + "rms_px", { digits: 2, unit: "px RMS" }), ", at most ", figure(survey, at + "largest_px",
            { digits: 2, unit: "px" }), ` at frame ${shake.largest_frame}`,
        shake.unknown.length ? `; not known, and taken from the frames beside: ${runsWords(shake.unknown)}` : null),
    shakeDiagram(page, index, unit, scale, most));
}

function showShake(page, section) {
    const { survey } = page, { shakes } = survey;
    if (!shakes.length) {
        section.append(make("p", { class: "note" }, "The shake stays in, and the solve’s file does not say how large it is: " +
            "solve with --steady to take it out."));
        return;
    }
    const how = SHAKE_WORDS[shakes[0].steady] || "The shake stays in; this is what --steady lock would take out.";
    const diagrams = make("div", { class: shakes.length > 1 ? "light-rows" : "" }), buttons = [];
    const show = (unit) => {
        const scale = unit === "px" ? survey.px_per_deg : 1;
        for (const button of buttons) button.setAttribute("aria-pressed", String(button.dataset.unit === unit));
        // One scale for all; what is below half a pixel looks still.
        let most = (0.5 * scale) / survey.px_per_deg;
        for (const shake of shakes)
            for (const [key] of TURNS) for (const value of shake[key]) most = Math.max(most, Math.abs(value * scale));
        diagrams.replaceChildren(...shakes.map((_, index) => shakeFigure(page, index, unit, scale, most * 1.08)));
        fitAll(diagrams);
    };
    for (const [unit, words] of [["deg", "Degrees"], ["px", "Pixels of the panorama"]])
        buttons.push(make("button", { type: "button", "data-unit": unit, onclick: () => show(unit) }, words));
    section.append(make("p", { class: "lead" }, how, survey.in_turn
        ? " Clips shot in turn share no mount: each shook by itself." : null,
    " Pixels are the panorama’s, ", figure(survey, "width"), " round."),
    make("div", { class: "switch", role: "group", "aria-label": "Unit" }, buttons), diagrams,
    legend(TURNS.map(([, name, style]) => [lineMark("curve " + style), name === "roll"
        ? "roll (in px: as far as it moves anything)" : name])));
    show("deg");
}

// Cameras share a scale, which never magnifies what is calm.
function showLight(page, section) {
    const { survey } = page;
    const lit = survey.cameras.map((camera, index) => ({ camera, index, gain: courseSpan(camera.gain_stops),
        beyond: courseSpan(camera.beyond_stops) })).filter((one) => one.gain);
    if (!lit.length) { section.append(make("p", { class: "note" }, "No camera is placed.")); return; }
    const low = Math.min(...lit.flatMap((one) => [one.gain.low, one.beyond.low]), -0.1);
    const high = Math.max(...lit.flatMap((one) => [one.gain.high, one.beyond.high]), 0.1);
    const by_data = lit.some(({ camera }) => JSON.stringify(camera.gain_stops) !== JSON.stringify(camera.beyond_stops));
    const span = (index, key, { least, most }) => {
        const at = (entry) => figure(survey, `cameras.${index}.${key}.${entry}.1`, { digits: 2 });
        const text = (entry) => numeral(survey.cameras[index][key][entry][1], 2);
        return text(least) === text(most) ? ["steady at ", at(least)] : [at(least), " to ", at(most)];
    };
    section.append(make("p", { class: "lead" }, "Stops that bring each camera to the common exposure, all on one scale. ",
        by_data ? "What its iris and the like do by its own data is answered at once; the rest comes from the overlaps, smoothly." : null),
    make("div", { class: "light-rows" }, lit.map(({ camera, index, gain, beyond }) => make("figure", { "data-camera": index },
        make("figcaption", {}, make("strong", { class: "file" }, camera.name), " ", span(index, "gain_stops", gain), " stops",
            by_data ? ["; beyond its data ", span(index, "beyond_stops", beyond)] : null),
        fitted((width) => timeDiagram(page, width, { height: 170, label: `${camera.name}: gain over the take`,
            y: { low, high, about: 4, name: "stops" },
            content: (at) => [by_data ? courseCurve(at, camera.beyond_stops, survey.last, "extrapolated") : null,
                courseCurve(at, camera.gain_stops, survey.last, "measured")] }))))),
    legend([[lineMark("curve measured"), "gain"], by_data ? [lineMark("curve extrapolated"), "beyond what its data say"] : null]));
}
