// How much parallax each overlap keeps when it is composed for a distance. Drawn over 1 / distance,
// in which parallax is a straight line.

const DISTANCES = [50, 25, 15, 10, 7, 5, 4, 3, 2, 1.5, 1, 0.7, 0.5];
const metres = (value) => (value === null ? "infinity" : `${numeral(value, value < 10 ? 1 : 0)} m`);

function distanceTicks(high, width) {
    const ticks = [[0, "∞"]];
    let last = 0;
    for (const distance of DISTANCES) {
        const place = 1 / distance;
        if (place > high || ((place - last) / high) * (width - 72) < 30) continue;
        ticks.push([place, String(distance)]);
        last = place;
    }
    return ticks;
}

// A figure in metres, or the word where it is infinite.
function distanceFigure(page, path, value) {
    return value === null ? "infinity" : figure(page.survey, path, { digits: value < 10 ? 1 : 0, unit: "m" });
}

function overlapFigure(page, index, scale) {
    const { survey } = page, overlap = survey.overlaps[index], at_path = `overlaps.${index}.`;
    const names = [overlap.a, overlap.b].map((camera) => survey.cameras[camera].name);
    const upright = (at, place, style) => draw("path", { class: style, d: `M${at.x(place).toFixed(1)} ${at.box.top}V${at.box.bottom}` });
    const inside = (place) => Math.max(0, Math.min(scale.inverse, place));
    return make("figure", { "data-overlap": index },
        make("figcaption", {}, make("strong", { class: "file" }, names.join(" | ")), " agrees at ",
            distanceFigure(page, at_path + "agrees_m", overlap.agrees_m),
            overlap.left.length ? [" (most of it ", distanceFigure(page, at_path + "nearest_m", overlap.nearest_m), " to ",
                distanceFigure(page, at_path + "farthest_m", overlap.farthest_m), ")"] : null,
            ", composed for ", distanceFigure(page, at_path + "composed_m", overlap.composed_m),
            overlap.composed_px === null ? null : [": ", figure(survey, at_path + "composed_px", { digits: 2, unit: "px" }), " left"],
            overlap.ties ? [make("br"), make("span", { class: "quiet" }, figure(survey, at_path + "ties"), " ties, pupils ",
                figure(survey, at_path + "apart_m", { digits: 3, unit: "m" }), " apart")] : null),
        overlap.left.length ? fitted((width) => diagram(width, { height: 220, label: `${names.join(" and ")}: parallax against distance`,
            x: { low: 0, high: scale.inverse, name: "composed for, m", ticks: distanceTicks(scale.inverse, width) },
            y: { low: 0, high: scale.px, about: 4, name: "px of the panorama" },
            content: (at) => [
                draw("rect", { class: "unsupported", x: at.x(inside(overlap.farthest_inverse)), y: at.box.top,
                    width: Math.max(1, at.x(inside(overlap.nearest_inverse)) - at.x(inside(overlap.farthest_inverse))),
                    height: at.box.bottom - at.box.top }),
                upright(at, inside(overlap.agrees_inverse), "agrees"), upright(at, inside(overlap.composed_inverse), "composed"),
                draw("path", { class: "curve measured", d: linePath(at, overlap.left.filter(([place]) => place <= scale.inverse)) }),
                overlap.composed_px === null ? null : draw("circle", { class: "ring", r: 5, cx: at.x(inside(overlap.composed_inverse)),
                    cy: at.y(overlap.composed_px) })] })) : null);
}

function showDistance(page, section) {
    const { survey } = page;
    if (!survey.overlaps.length) {
        section.append(make("p", { class: "note" }, survey.cameras.filter((camera) => camera.placed).length < 2
            ? "One camera has no overlap."
            : "The cameras see from one place, or nobody says where they stand (translation and entrance pupil offset in the " +
            "lens tracks): the panorama is composed for infinity."));
        return;
    }
    const drawn = survey.overlaps.flatMap((overlap) => overlap.left);
    const scale = { inverse: Math.max(...drawn.map(([place]) => place), 0.01), px: Math.max(...drawn.map(([, px]) => px), 0.5) };
    section.append(make("p", { class: "lead" }, "Median parallax that is left in each overlap when it is composed for a distance, " +
        "in pixels of the panorama (", figure(survey, "width"), " round). All on one scale."),
    make("div", { class: "light-rows" }, survey.overlaps.map((_, index) => overlapFigure(page, index, scale))),
    legend([[lineMark("curve measured"), "parallax left"], [lineMark("agrees"), "its ties agree here"],
        [lineMark("composed"), "composed for"], [draw("rect", { class: "unsupported", x: 1, y: 1, width: 34, height: 16 }),
            "four ties of five lie here"]]));
}
