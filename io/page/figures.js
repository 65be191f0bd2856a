// Elements and figures. Whatever comes from files goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function make(tag, attributes, ...children) {
    return fill(document.createElement(tag), attributes, children);
}
function draw(tag, attributes, ...children) {
    return fill(document.createElementNS(SVG, tag), attributes, children);
}
function fill(element, attributes, children) {
    for (const [name, value] of Object.entries(attributes || {}))
        if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
        else if (value !== null && value !== undefined && value !== false)
            element.setAttribute(name, value === true ? "" : value);
    element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
    return element;
}

// "−0" is nobody's figure; a minus is as wide as a digit.
function numeral(value, digits) {
    const text = value.toFixed(digits);
    return Number(text) === 0 ? (0).toFixed(digits) : text.replace("-", "\u2212");
}

// A focus distance; from 100 km on the lens is focused at infinity.
function focusWords(value, digits) {
    return value >= 1e5 ? "infinity" : `${numeral(value, digits)}\u00a0m`;
}

// A figure of the survey, by its path ("plates.3.rms_px"). It is marked as a figure, so that tests
// find those that they do not expect.
function figure(survey, path, { digits = 0, unit = "", scale = 1, none = "–" } = {}) {
    const value = path.split(".").reduce((at, key) => (at === null ? null : at[key]), survey);
    const known = typeof value === "number" && isFinite(value);
    const attributes = { class: "figure", "data-figure": path };
    const infinite = known && path.endsWith("focus_m") && value >= 1e5;
    const text = infinite ? "infinity" : known ? numeral(value * scale, digits) : none;
    return make("span", attributes, text, known && unit && !infinite ? make("span", { class: "unit" }, "\u00a0" + unit) : null);
}

// Degrees that say which way: pan is positive to the left, tilt up.
function direction(pan_deg, tilt_deg) {
    return `pan ${numeral(pan_deg, 0)}°, tilt ${numeral(tilt_deg, 0)}°`;
}

function wrapped(pan_deg) {
    return pan_deg - 360 * Math.floor((pan_deg + 180) / 360);
}

function plural(count, one, many) {
    return `${count} ${count === 1 ? one : many}`;
}

// Begins with a capital, unless it begins with a file's name.
function sentence(text, files) {
    return files.some((file) => text.startsWith(file)) ? text : text.charAt(0).toUpperCase() + text.slice(1);
}

// Name and value, a line each.
function lines(rows) {
    return make("dl", { class: "lines" }, rows.map(([name, value]) =>
        make("div", {}, make("dt", {}, name), make("dd", {}, value))));
}

function percentile(values, share) {
    const sorted = [...values].sort((a, b) => a - b);
    return sorted.length ? sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))] : 0;
}

// 1, 2 or 5 times a power of ten, for the scale's stroke.
function roundLength(value) {
    const power = Math.pow(10, Math.floor(Math.log10(value)));
    return [5, 2, 1].map((step) => step * power).find((step) => step <= value * 1.0001) || power;
}

// When the file was written; the browser knows.
function writtenAt() {
    return new Date(document.lastModified).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
}

function showContents(nav) {
    for (const section of document.querySelectorAll("main > section"))
        nav.append(make("a", { href: "#" + section.id }, section.dataset.name));
}

// What is folded away on a screen stands on paper.
function unfoldInPrint(root) {
    const opened = [];
    addEventListener("beforeprint", () => {
        for (const part of root.querySelectorAll("details:not([open])")) { part.open = true; opened.push(part); }
    });
    addEventListener("afterprint", () => { while (opened.length) opened.pop().open = false; });
}
