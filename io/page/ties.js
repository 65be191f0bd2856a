// Residuals of ties when every plate is in its place, drawn where they lie in the frame. A lens
// that is not as its data say shows as a pattern that all plates share; a head that is off the
// entrance pupil as long strokes on what is near.

const FRAME_WIDTH = 960;

// Nine of ten strokes are no longer than a twentieth of the frame's width.
function strokesPerPixel(residuals) {
    const usual = percentile(residuals.map((tie) => Math.hypot(tie.dx_px, tie.dy_px)), 0.9);
    return (0.05 * FRAME_WIDTH) / Math.max(usual, 1e-3);
}

// What the bar below the frame stands for, pixels.
function sampleOf(stroke) {
    return roundLength((0.2 * FRAME_WIDTH) / stroke);
}

function framePicture(residuals, height, stroke) {
    let path = "", dots = "";
    for (const tie of residuals) {
        const x = tie.x * FRAME_WIDTH, y = tie.y * height;
        path += `M${x.toFixed(1)} ${y.toFixed(1)}l${(tie.dx_px * stroke).toFixed(1)} ${(tie.dy_px * stroke).toFixed(1)}`;
        dots += `M${x.toFixed(1)} ${y.toFixed(1)}h0`;
    }
    const length = sampleOf(stroke) * stroke;
    return draw("svg", { viewBox: `-4 -4 ${FRAME_WIDTH + 8} ${height + 34}`, role: "img", "aria-label": "Residuals of the ties over the frame" },
        draw("rect", { width: FRAME_WIDTH, height, class: "frame" }),
        draw("path", { d: `M${FRAME_WIDTH / 2} 0V${height}M0 ${height / 2}H${FRAME_WIDTH}`, class: "thirds" }),
        draw("path", { d: path, class: "stroke" }), draw("path", { d: dots, class: "foot" }),
        draw("path", { d: `M0 ${height + 20}h${length.toFixed(1)}m0 -8v16m${-length.toFixed(1)} -16v16`, class: "sample" }));
}

function showTies(page, section) {
    const { survey } = page, all = survey.residuals;
    if (!all.length) {
        section.append(make("p", { class: "note" }, "No ties, so nothing to compare."));
        return;
    }
    const stroke = strokesPerPixel(all);
    const picture = make("div", { class: "frame-picture" }), words = make("p", { class: "note", id: "ties-words" });
    const choice = make("select", { "aria-label": "Whose ties" }, make("option", { value: "" }, "All plates"),
        survey.plates.map((plate, index) => (all.some((tie) => tie.plate === index)
            ? make("option", { value: index }, `${plate.number}  ${plate.file}`) : null)));
    const show = () => {
        const residuals = choice.value === "" ? all : all.filter((tie) => tie.plate === Number(choice.value));
        const shown = survey.plates[residuals[0].plate];
        const height = shown.width_px > 0 ? (FRAME_WIDTH * shown.height_px) / shown.width_px : (FRAME_WIDTH * 9) / 16;
        const sample_px = sampleOf(stroke);
        picture.replaceChildren(framePicture(residuals, height, stroke),
            make("p", { class: "note" }, `The bar is as long as the stroke of ${sample_px < 1 ? sample_px.toPrecision(1) : sample_px} px.`));
        const lengths = residuals.map((tie) => Math.hypot(tie.dx_px, tie.dy_px));
        words.textContent = `${plural(residuals.length, "tie", "ties")} drawn: half of them within ${numeral(percentile(lengths, 0.5), 2)} px, ` +
            `nine of ten within ${numeral(percentile(lengths, 0.9), 2)} px, the worst ${numeral(Math.max(...lengths), 2)} px.`;
    };
    choice.addEventListener("change", show);
    section.append(make("label", { class: "choice" }, "Ties of ", choice), words, picture);
    show();
    page.whenSelected((selected) => {
        if (selected.plate === undefined) return;
        const option = [...choice.options].find((o) => o.value === String(selected.plate));
        if (option && choice.value !== option.value && choice.value !== "") { choice.value = option.value; show(); }
    });
}
