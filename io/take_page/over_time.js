// Whatever is drawn over the frames of the take: one axis for all of it, a line at the chosen frame,
// and a tap that chooses one.

const TIME_LEFT = 58, TIME_RIGHT = 14;  // as diagram() leaves them

// "1001", "1001 to 1004"; runs as "1001 to 1004, 1009".
const runWords = ([first, last]) => (first === last ? String(first) : `${first} to ${last}`);
const runsWords = (runs) => runs.map(runWords).join(", ");
const holds = (runs, frame) => runs.some(([first, last]) => first <= frame && frame <= last);

// "frame 1012 · 10:00:00:11"
function frameWords(page, frame) {
    const timecode = page.survey.timecodes[frame - page.survey.first];
    return `frame ${frame}${timecode ? " · " + timecode : ""}`;
}

function frameTicks(page, width) {
    const { first, last } = page.survey, most = Math.max(2, Math.floor((width - TIME_LEFT - TIME_RIGHT) / 90));
    const step = [1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10000, 50000, 1e6]
        .find((candidate) => (last - first) / candidate <= most) || 1e7;
    const ticks = [];
    for (let frame = Math.ceil(first / step) * step; frame <= last; frame += step) ticks.push([frame, String(frame)]);
    return ticks.length ? ticks : [[first, String(first)]];
}

// The points of a course (see the survey): it holds until its next change, and breaks where it is
// not known. A list of lines.
function coursePoints(course, last) {
    const lines = [];
    let line = [];
    course.forEach(([frame, value], index) => {
        const until = index + 1 < course.length ? course[index + 1][0] - 1 : last;
        if (value === null) { if (line.length) lines.push(line); line = []; return; }
        line.push([frame, value]);
        if (until > frame) line.push([until, value]);
    });
    if (line.length) lines.push(line);
    return lines;
}

function courseAt(course, frame) {
    let value = null;
    for (const [from, now] of course) { if (from > frame) break; value = now; }
    return value;
}

// Indices of the least and the most of a course; null where nothing is known.
function courseSpan(course) {
    const known = course.map(([, value], index) => [value, index]).filter(([value]) => value !== null);
    if (!known.length) return null;
    known.sort(([a], [b]) => a - b);
    return { least: known[0][1], most: known[known.length - 1][1], low: known[0][0], high: known[known.length - 1][0] };
}

// A line of one frame is a dot.
function courseCurve(at, course, last, style) {
    return coursePoints(course, last).map((points) => (points.length === 1
        ? draw("circle", { cx: at.x(points[0][0]), cy: at.y(points[0][1]), r: 2.6, class: "dot " + style })
        : draw("path", { class: "curve " + style, d: linePath(at, points) })));
}

// Makes a drawing answer: `x` and `frame` are each other's inverses.
function overTime(page, svg, { x, frame, top, bottom }) {
    const line = draw("path", { class: "cursor" });
    svg.append(line);
    svg.classList.add("over-time");
    svg.moveTo = (chosen) => line.setAttribute("d", `M${x(chosen).toFixed(1)} ${top}V${bottom}`);
    svg.moveTo(page.frame);
    svg.addEventListener("click", (event) => {
        const box = svg.getBoundingClientRect();
        page.choose(Math.round(frame(((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width)));
    });
    return svg;
}

// diagram() with frames across. Half a frame to either side, so that one frame has a place too.
function timeDiagram(page, width, { y, height, label, content }) {
    const { first, last } = page.survey, low = first - 0.5, high = last + 0.5;
    let where = null;
    const svg = diagram(width, { x: { low, high, name: "frame", ticks: frameTicks(page, width) }, y, height, label,
        content: (at) => { where = at; return content(at); } });
    const { left, right, top, bottom } = where.box;
    return overTime(page, svg, { x: where.x, top, bottom,
        frame: (x) => low + ((x - left) / (right - left)) * (high - low) });
}

// A bar over the frames. `parts`: { runs, style }; `marks`: { frame, style, words }. What is one
// frame of a long take is still seen.
function strip(page, width, { parts, marks, label }) {
    const { first, last } = page.survey, high = 30, left = TIME_LEFT, right = width - TIME_RIGHT, top = 12;
    const x = (frame) => left + ((frame - first + 0.5) / (last - first + 1)) * (right - left);
    const half = (right - left) / (last - first + 1) / 2;
    const bar = ({ runs, style }) => runs.map(([from, to]) => {
        const wide = Math.max(3, x(to) - x(from) + 2 * half);
        return draw("rect", { class: "bar-part " + style, x: x(from) - half, y: top, width: wide, height: high });
    });
    const svg = draw("svg", { class: "diagram strip", width, height: top + high + 24, viewBox: `0 0 ${width} ${top + high + 24}`,
        role: "img", "aria-label": label },
    parts.map(bar),
    (marks || []).map(({ frame, style, words }) => draw("path", { class: "strip-mark " + style,
        d: `M${(x(frame) - half).toFixed(1)} ${top + high}V${top - 2}l-6 -9h12l-6 9` }, draw("title", {}, words))),
    frameTicks(page, width).map(([frame, words]) => draw("text", { x: x(frame), y: top + high + 19, "text-anchor": "middle" }, words)));
    return overTime(page, svg, { x, top: 2, bottom: top + high,
        frame: (at) => first - 0.5 + ((at - left) / (right - left)) * (last - first + 1) });
}
