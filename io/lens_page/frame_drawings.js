// What a lens does, drawn where it does it: over the frame.

// How many times larger than it is: 1, 2 or 5 times a power of ten, so that the furthest place
// moves by a sixteenth of the frame's width at most.
function exaggerationOf(largest_px, frame) {
    return Math.max(1, roundLength((0.0625 * frame.width_px) / Math.max(largest_px, 1e-4)));
}

// Millimetres from the picture's middle.
function radius_mm(frame, x_px, y_px) {
    return Math.hypot((x_px / frame.width_px - 0.5) * frame.width_mm, (y_px / frame.height_px - 0.5) * frame.height_mm);
}

// Lines of the grid as path data: those that the chart's points support, and those that they don't.
function gridPaths(setting, exaggeration, scale) {
    const { frame, grid, support } = setting;
    const paths = { flat: "", supported: "", beyond: "" };
    const node = (i, j) => {
        const at = j * (grid.across + 1) + i, x = (i / grid.across) * frame.width_px, y = (j / grid.down) * frame.height_px;
        const dx = grid.moved_x_px[at], dy = grid.moved_y_px[at];
        if (dx === null) return null;
        return { x: (x + exaggeration * dx) * scale, y: (y + exaggeration * dy) * scale,
            supported: radius_mm(frame, x + dx, y + dy) <= support.reach_mm };
    };
    const follow = (count, place) => {
        let last = null;
        for (let k = 0; k <= count; ++k) {
            const here = place(k);
            if (last && here) {
                const kind = last.supported && here.supported ? "supported" : "beyond";
                const joined = last.kind === kind ? "" : `M${last.x.toFixed(1)} ${last.y.toFixed(1)}`;
                paths[kind] += `${joined}L${here.x.toFixed(1)} ${here.y.toFixed(1)}`;
                here.kind = kind;
            }
            last = here;
        }
    };
    for (let j = 0; j <= grid.down; j += grid.every) {
        follow(grid.across, (k) => node(k, j));
        paths.flat += `M0 ${((j / grid.down) * frame.height_px * scale).toFixed(1)}h${(frame.width_px * scale).toFixed(1)}`;
    }
    for (let i = 0; i <= grid.across; i += grid.every) {
        follow(grid.down, (k) => node(i, k));
        paths.flat += `M${((i / grid.across) * frame.width_px * scale).toFixed(1)} 0v${(frame.height_px * scale).toFixed(1)}`;
    }
    return paths;
}

// How far the drawing leaves the frame to either side, in shares of its width and height.
function gridBeyond(setting, exaggeration) {
    const { frame, grid } = setting, beyond = { x: 0, y: 0 };
    grid.moved_x_px.forEach((dx, at) => {
        if (dx === null) return;
        const i = at % (grid.across + 1), j = Math.floor(at / (grid.across + 1));
        const x = i / grid.across + (exaggeration * dx) / frame.width_px,
            y = j / grid.down + (exaggeration * grid.moved_y_px[at]) / frame.height_px;
        beyond.x = Math.max(beyond.x, -x, x - 1);
        beyond.y = Math.max(beyond.y, -y, y - 1);
    });
    return beyond;
}

function gridDrawing(width, setting, exaggeration) {
    const { frame } = setting, beyond = gridBeyond(setting, exaggeration);
    const wide = (width - 16) / (1 + 2 * beyond.x), side = (width - wide) / 2;
    const scale = wide / frame.width_px, tall = frame.height_px * scale, margin = tall * beyond.y + 8;
    const paths = gridPaths(setting, exaggeration, scale);
    const centre_x = wide / 2 + setting.centre_px[0] * scale, centre_y = tall / 2 + setting.centre_px[1] * scale;
    return draw("svg", { class: "over-frame", width, height: tall + 2 * margin, viewBox: `${-side} ${-margin} ${width} ${tall + 2 * margin}`,
        role: "img", "aria-label": `A straight grid as the lens records it, ${exaggeration} times exaggerated` },
    draw("rect", { width: wide, height: tall, class: "frame" }),
    draw("path", { d: paths.flat, class: "grid-flat" }),
    draw("path", { d: paths.beyond, class: "grid-beyond" }),
    draw("path", { d: paths.supported, class: "grid-recorded" }),
    draw("circle", { cx: centre_x.toFixed(1), cy: centre_y.toFixed(1), r: 7, class: "centre" }));
}

// Means over cells show what all pictures share; strokes of single points hide it in their noise.
function cellMeans(residuals, frame) {
    const across = 12, down = Math.max(2, Math.round((12 * frame.height_px) / frame.width_px));
    const sums = new Map();
    for (const [x, y, dx, dy] of residuals) {
        const i = Math.min(across - 1, Math.floor((x / frame.width_px) * across)),
            j = Math.min(down - 1, Math.floor((y / frame.height_px) * down));
        const sum = sums.get(j * across + i) || { x: 0, y: 0, dx: 0, dy: 0, count: 0 };
        sum.x += x; sum.y += y; sum.dx += dx; sum.dy += dy; ++sum.count;
        sums.set(j * across + i, sum);
    }
    return [...sums.values()].filter((sum) => sum.count >= 4)
        .map((sum) => [sum.x, sum.y, sum.dx, sum.dy].map((value) => value / sum.count));
}

// Nine of ten strokes are no longer than a twentieth of the frame's width. Strokes in pixels of the
// drawing for a pixel of the picture.
function strokesPerPixel(residuals, width) {
    return (0.05 * width) / Math.max(percentile(residuals.map(([, , dx, dy]) => Math.hypot(dx, dy)), 0.9), 1e-4);
}

function residualDrawing(width, setting, residuals, strays) {
    const { frame, support } = setting;
    const wide = width - 8, scale = wide / frame.width_px, tall = frame.height_px * scale;
    const stroke = strokesPerPixel(residuals, wide), sample_px = roundLength((0.2 * wide) / stroke);
    let path = "", dots = "";
    for (const [x, y, dx, dy] of residuals) {
        dots += `M${(x * scale).toFixed(1)} ${(y * scale).toFixed(1)}h0`;
        path += `M${(x * scale).toFixed(1)} ${(y * scale).toFixed(1)}l${(dx * stroke).toFixed(1)} ${(dy * stroke).toFixed(1)}`;
    }
    // A circle in millimetres; the picture's pixels need not be square.
    const reach_x = (support.reach_mm / frame.width_mm) * wide, reach_y = (support.reach_mm / frame.height_mm) * tall;
    const length = sample_px * stroke;
    return draw("svg", { class: "over-frame", width, height: tall + 44, viewBox: `-4 -4 ${width} ${tall + 44}`, role: "img",
        "aria-label": "Residuals over the frame" },
        draw("clipPath", { id: "frame-clip" }, draw("rect", { width: wide, height: tall })),
        draw("rect", { width: wide, height: tall, class: "frame" }),
        draw("path", { d: `M${wide / 2} 0V${tall}M0 ${tall / 2}H${wide}`, class: "thirds" }),
        draw("ellipse", { cx: wide / 2, cy: tall / 2, rx: reach_x, ry: reach_y, class: "reach-edge", "clip-path": "url(#frame-clip)" }),
        draw("path", { d: path, class: "stroke" }), draw("path", { d: dots, class: "foot" }),
        draw("path", { class: "stray", d: strays.map(([x,
            y]) => `M${(x * scale - 5).toFixed(1)} ${(y * scale - 5).toFixed(1)}l10 10m0 -10l-10 10`).join("") }),
        draw("path", { d: `M2 ${tall + 22}h${length.toFixed(1)}m0 -8v16m${-length.toFixed(1)} -16v16`, class: "sample" }),
        draw("text", { x: length + 14, y: tall + 28, class: "sample-name" }, `${Number(sample_px.toPrecision(1))} px`));
}

// A picture of cells, a colour each; a cross where a cell was left out.
function cellPicture(columns, rows, colourAt, isUsed, label) {
    const cell = Math.max(4, Math.round(480 / columns));
    const canvas = make("canvas", { width: columns * cell, height: rows * cell, class: "cells", role: "img", "aria-label": label });
    const context = canvas.getContext("2d");
    for (let j = 0; j < rows; ++j)
        for (let i = 0; i < columns; ++i) {
            const at = j * columns + i, colour = colourAt(at);
            context.fillStyle = colour || "#222";
            context.fillRect(i * cell, j * cell, cell, cell);
            if (isUsed(at)) continue;
            context.strokeStyle = "#000";
            context.lineWidth = 1.4;
            context.beginPath();
            context.moveTo(i * cell + 1.5, j * cell + 1.5); context.lineTo((i + 1) * cell - 1.5, (j + 1) * cell - 1.5);
            context.moveTo((i + 1) * cell - 1.5, j * cell + 1.5); context.lineTo(i * cell + 1.5, (j + 1) * cell - 1.5);
            context.stroke();
        }
    return canvas;
}
