// A diagram of curves over image height. Drawn in the screen's own pixels, so that its letters keep
// their size on a phone; drawn again when the window changes.

// Whatever is drawn to a width: `drawing(width)` gives an element.
function fitted(drawing) {
    const holder = make("div", { class: "fitted" });
    let last = 0;
    holder.fit = () => {
        const width = Math.floor(holder.clientWidth);
        if (width <= 0 || width === last) return;
        last = width;
        holder.replaceChildren(drawing(width));
    };
    return holder;
}

function fitAll(root) {
    for (const holder of root.querySelectorAll(".fitted")) holder.fit();
}

// Round steps, `about` of them, that span low to high.
function scaleOf(low, high, about) {
    const step = [1, 2, 5, 10].map((k) => k * roundLength(((high - low) / about) * 0.999))
        .find((candidate) => (high - low) / candidate <= about) || high - low;
    const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const from = Math.floor(low / step + 1e-6) * step, to = Math.ceil(high / step - 1e-6) * step;
    const ticks = [];
    for (let i = 0; from + i * step <= to + step / 2; ++i) ticks.push(from + i * step);
    return { low: from, high: to, ticks, digits };
}

// `x` and `y`: { low, high, name, about?, down?, ticks? }; `ticks` of x: [value, words] in place of
// round steps. `content(at)` gives the curves; `at.x(v)` and
// `at.y(v)` say where a value lies, `at.box` where the diagram does.
function diagram(width, { x, y, height, label, small, content }) {
    const left = small ? 40 : 58, right = small ? 8 : 14, top = small ? 8 : 32, foot = small ? 24 : 50;
    const box = { left, top, right: width - right, bottom: height - foot };
    const xs = { ...scaleOf(x.low, x.high, x.about || Math.max(3, Math.round(width / 110))), high: x.high, low: x.low };
    const ys = scaleOf(y.low, y.high, y.about || Math.max(3, Math.round(height / 60)));
    const at = {
        box,
        x: (value) => box.left + ((value - xs.low) / (xs.high - xs.low)) * (box.right - box.left),
        y: (value) => {
            const share = (value - ys.low) / (ys.high - ys.low);
            return y.down ? box.top + share * (box.bottom - box.top) : box.bottom - share * (box.bottom - box.top);
        },
    };
    const inside = x.ticks || xs.ticks.filter((tick) => tick >= x.low && tick <= x.high * 1.0001)
        .map((tick) => [tick, numeral(tick, xs.digits)]);
    return draw("svg", { class: small ? "diagram small" : "diagram", width, height, viewBox: `0 0 ${width} ${height}`,
        role: "img", "aria-label": label },
        inside.map(([tick]) => draw("path", { class: "line-grid", d: `M${at.x(tick).toFixed(1)} ${box.top}V${box.bottom}` })),
        ys.ticks.map((tick) => draw("path", { class: Math.abs(tick) < 1e-9 ? "line-grid zero" : "line-grid",
            d: `M${box.left} ${at.y(tick).toFixed(1)}H${box.right}` })),
        inside.filter((_, index) => !small || index % 2 === 0).map(([tick, words]) => draw("text",
            { x: at.x(tick), y: box.bottom + (small ? 16 : 20), "text-anchor": "middle" }, words)),
        ys.ticks.map((tick) => draw("text", { x: box.left - 7, y: at.y(tick) + 5, "text-anchor": "end" }, numeral(tick, ys.digits))),
        small ? null : draw("text", { x: 0, y: 15, class: "axis-name" }, y.name),
        small ? null : draw("text", { x: (box.left + box.right) / 2, y: height - 8, "text-anchor": "middle", class: "axis-name" }, x.name),
        content(at));
}

function linePath(at, points) {
    return points.map(([x, y], index) => `${index ? "L" : "M"}${at.x(x).toFixed(1)} ${at.y(y).toFixed(1)}`).join("");
}

// What a stroke or point of a diagram stands for, in words beside a sample of it.
function legend(entries) {
    return make("ul", { class: "legend" }, entries.filter(Boolean).map(([mark, words]) => make("li", {},
        draw("svg", { class: "mark", width: 36, height: 18, viewBox: "0 0 36 18", "aria-hidden": "true" }, mark), words)));
}
const lineMark = (style) => draw("path", { d: "M1 9H35", class: style });
