// Focus, iris, gain and the like from plate to plate: what should stand still, and what did not.

const TRACKS = [
    { key: "focus_m", name: "Focus", unit: "m", digits: 2, calm: 0.02, relative: true },
    { key: "t_stop", name: "T-stop", unit: "", digits: 2, calm: 0.02, relative: true },
    { key: "f_stop", name: "f-stop", unit: "", digits: 2, calm: 0.02, relative: true, unless: "t_stop" },
    { key: "focal_mm", name: "Focal length", unit: "mm", digits: 2, calm: 0.004, relative: true },
    { key: "gain_stops", name: "Gain", unit: "stops", digits: 2, calm: 0.1 },
    { key: "iso", name: "ISO", unit: "", digits: 0, calm: 0.01, relative: true, only_if_moved: true },
    { key: "sharpness", name: "Detail against neighbours", unit: "", digits: 2, calm: 0.3 },
];
const TRACK_WIDTH = 960, TRACK_LEFT = 92, TRACK_RIGHT = 22, TRACK_TOP = 16, TRACK_FOOT = 30;

// Seconds of a timecode; the frame counts as a thirtieth, which is near enough for a chart.
function secondsOf(timecode) {
    const fields = /^(\d+):(\d+):(\d+)[:;](\d+)$/.exec(timecode || "");
    return fields ? +fields[1] * 3600 + +fields[2] * 60 + +fields[3] + +fields[4] / 30 : null;
}

function trackColumns(plates, by_time) {
    const at = plates.map((plate, index) => (by_time ? secondsOf(plate.timecode) : index));
    const low = Math.min(...at), high = Math.max(...at);
    const wide = TRACK_WIDTH - TRACK_LEFT - TRACK_RIGHT;
    return at.map((value) => TRACK_LEFT + (high > low ? ((value - low) / (high - low)) * wide : wide / 2));
}

// The scale never magnifies what is calm: a track that stands still looks still.
function trackScale(track, values) {
    const low = Math.min(...values), high = Math.max(...values), middle = (low + high) / 2;
    const calm = track.relative ? track.calm * Math.abs(middle) : track.calm;
    const half = Math.max((high - low) / 2, calm) * 1.15;
    const moved = high - low > calm;
    const height = moved ? 140 : 84, tall = height - TRACK_TOP - TRACK_FOOT;
    return { moved, low, high, height,
        y: (value) => TRACK_TOP + tall * (0.5 - (value - middle) / (2 * half)) };
}

function trackLine(columns, values, y) {
    let path = "", drawing = false;
    values.forEach((value, index) => {
        if (value === null) { drawing = false; return; }
        path += `${drawing ? "L" : "M"}${columns[index].toFixed(1)} ${y(value).toFixed(1)}`;
        drawing = true;
    });
    return draw("path", { d: path, class: "line" });
}

function trackPoint(page, track, index, x, value, scale) {
    const plate = page.survey.plates[index];
    const spoken = value === null ? "not known"
        : track.key === "focus_m" ? focusWords(value, track.digits) : `${numeral(value, track.digits)} ${track.unit}`;
    // Many plates stand close.
    const reach = Math.max(2.5, Math.min(5.5, 260 / page.survey.plates.length));
    return draw("g", { class: "point" + (value === null ? " unknown" : ""), "data-plate": index,
        onclick: () => page.select({ plate: index }) },
    draw("title", {}, `${plate.number}: ${spoken}`),
    draw("rect", { x: x - 2.5 * reach, y: 0, width: 5 * reach, height: scale.height, class: "reach" }),
    value === null
        ? draw("path", { d: `M${x - 5} ${TRACK_TOP + 3}l10 10m0 -10l-10 10` })
        : draw("circle", { cx: x, cy: scale.y(value), r: reach }));
}

function plateNumerals(page, columns, height) {
    let last = -Infinity;
    return columns.map((x, index) => {
        if (x - last < 34) return null;
        last = x;
        return draw("text", { x, y: height - 6, "text-anchor": "middle", class: "plate-number" },
            String(page.survey.plates[index].number));
    });
}

function trackChart(page, track, by_time) {
    const values = page.survey.plates.map((plate) => (typeof plate[track.key] === "number" ? plate[track.key] : null));
    const known = values.filter((value) => value !== null);
    if (!known.length) return null;
    const scale = trackScale(track, known);
    if (track.only_if_moved && !scale.moved) return null;
    const columns = trackColumns(page.survey.plates, by_time);
    const unit = track.unit ? " " + track.unit : "";
    const summary = scale.moved
        ? `${numeral(scale.low, track.digits)} to ${numeral(scale.high, track.digits)}${unit}`
        : `steady at ${numeral(known[0], track.digits)}${unit}`;
    const at = (value) => draw("text", { x: TRACK_LEFT - 16, y: scale.y(value) + 7, "text-anchor": "end" }, numeral(value, track.digits));
    return make("figure", { class: "track", "data-track": track.key },
        make("figcaption", {}, make("strong", {}, track.name), " ", make("span", { class: scale.moved ? "moved" : "" }, summary)),
        make("div", { class: "scroll" }, draw("svg", { viewBox: `0 0 ${TRACK_WIDTH} ${scale.height}`,
            role: "img", "aria-label": `${track.name}: ${summary}` },
            scale.moved ? [at(scale.high), at(scale.low)] : at((scale.low + scale.high) / 2),
            draw("path", { d: `M${TRACK_LEFT - 8} ${scale.height - TRACK_FOOT + 4}H${TRACK_WIDTH}`, class: "axis" }),
            trackLine(columns, values, scale.y),
            values.map((value, index) => trackPoint(page, track, index, columns[index], value, scale)),
            plateNumerals(page, columns, scale.height))));
}

function showTracks(page, section) {
    const charts = make("div", { class: "tracks" });
    const timed = page.survey.plates.length > 1 && page.survey.plates.every((plate) => secondsOf(plate.timecode) !== null);
    const fill_in = (by_time) => {
        const has = (key) => page.survey.plates.some((plate) => typeof plate[key] === "number");
        charts.replaceChildren(...TRACKS.filter((track) => !(track.unless && has(track.unless)))
            .map((track) => trackChart(page, track, by_time)).filter(Boolean));
        if (!charts.children.length) charts.append(make("p", { class: "note" }, "The plates say nothing of focus, iris or gain."));
        mark(page.selected);
    };
    const mark = (selected) => {
        const chosen = chosenPlates(page, selected);
        for (const point of charts.querySelectorAll(".point"))
            point.classList.toggle("chosen", chosen.includes(Number(point.dataset.plate)));
    };
    if (timed) {
        const buttons = [["In order", false], ["By timecode", true]].map(([name, by_time]) =>
            make("button", { type: "button", "aria-pressed": String(!by_time), onclick: (event) => {
                for (const button of buttons) button.setAttribute("aria-pressed", button === event.currentTarget);
                fill_in(by_time);
            } }, name));
        section.append(make("div", { class: "switch", role: "group", "aria-label": "Along the charts" }, buttons));
    }
    section.append(charts);
    fill_in(false);
    page.whenSelected(mark);
}
