// The sphere unrolled as the panorama is: left edge pan +180, top tilt +90. One unit is a degree.

const TAP_PX = 8;  // a finger that moved farther was scrolling

function placedPlates(survey) {
    return survey.plates.map((plate, index) => ({ ...plate, index }))
        .filter((plate) => plate.placed && plate.outline.length > 2);
}

// The outline as a closed line on the sheet. One that runs round a pole is led over the sheet's edge.
function sheetLine(outline, tilt_deg) {
    const first = outline[0], last = outline[outline.length - 1];
    const line = outline.map(([pan, tilt]) => [180 - pan, 90 - tilt]);
    if (Math.abs(Math.abs(first[0] - last[0]) - 360) < 1) {
        const edge = tilt_deg > 0 ? 0 : 180;
        line.push([180 - last[0], edge], [180 - first[0], edge]);
    }
    return line;
}

function pointsOf(line, shift) {
    return line.map(([x, y]) => `${(x + shift).toFixed(3)},${y.toFixed(3)}`).join(" ");
}

// Even-odd rule on the unwrapped line, tried a turn to either side.
function isInside(line, x, y) {
    return [-360, 0, 360].some((shift) => {
        let inside = false;
        for (let i = 0, j = line.length - 1; i < line.length; j = i++) {
            const [xi, yi] = line[i], [xj, yj] = line[j];
            if (yi > y !== yj > y && x + shift < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
        }
        return inside;
    });
}

function shiftsOnSheet(line) {
    const xs = line.map(([x]) => x);
    const low = Math.min(...xs), high = Math.max(...xs);
    return [-720, -360, 0, 360, 720].filter((shift) => high + shift > 0 && low + shift < 360);
}

// What lies at a direction: plates (nearest middle first).
function platesAt(survey, pan_deg, tilt_deg) {
    const x = 180 - pan_deg, y = 90 - tilt_deg;
    const away = (plate) => Math.hypot(
        wrapped(plate.pan_deg - pan_deg) * Math.cos((tilt_deg * Math.PI) / 180), plate.tilt_deg - tilt_deg);
    return placedPlates(survey).filter((plate) => isInside(sheetLine(plate.outline, plate.tilt_deg), x, y))
        .sort((a, b) => away(a) - away(b));
}

function hatching(id, step) {
    return draw("pattern", { id, width: step, height: step, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
        draw("rect", { width: step, height: step, class: "hole-ground" }),
        draw("rect", { width: step / 2.2, height: step, class: "hole-stripe" }));
}

function sheetGrid() {
    const grid = draw("g", { class: "grid" });
    for (let pan = 135; pan > -180; pan -= 45)
        grid.append(draw("line", { x1: 180 - pan, x2: 180 - pan, y1: 0, y2: 180, class: pan ? null : "zero" }));
    for (let tilt = 60; tilt > -90; tilt -= 30)
        grid.append(draw("line", { x1: 0, x2: 360, y1: 90 - tilt, y2: 90 - tilt, class: tilt ? null : "zero" }));
    return grid;
}

function outlinesOf(survey, plate, troubled) {
    const line = sheetLine(plate.outline, plate.tilt_deg);
    const group = draw("g", { class: "plate" + (troubled ? " troubled" : ""), "data-plate": plate.index });
    for (const shift of shiftsOnSheet(line))
        group.append(draw("polygon", { points: pointsOf(line, shift), class: "halo" }),
            draw("polygon", { points: pointsOf(line, shift), class: "edge" }));
    return group;
}

function holesOf(survey) {
    return survey.holes.map((hole, index) => {
        const line = sheetLine(hole.outline, hole.tilt_deg);
        return draw("g", { class: "hole", "data-hole": index }, shiftsOnSheet(line).map((shift) =>
            draw("polygon", { points: pointsOf(line, shift) })));
    });
}

// Text that keeps its size on the screen however wide the sheet is.
function sheetLabel(x, y, text, kind, data) {
    const width = 9.6 * text.length + 12;
    return draw("g", { class: "label " + kind, "data-x": x, "data-y": y, "data-wide": width, ...data },
        draw("rect", { x: -width / 2, y: -12, width, height: 24, rx: kind === "number" ? 5 : 12 }),
        draw("text", { "text-anchor": "middle", y: 5.5 }, text));
}

function labelsOf(survey, troubled) {
    const labels = [], taken = [];
    const put = (pan, tilt, count, label) => {
        // As wide as it comes on the narrowest sheet, where a pixel is half a degree.
        taken.push([pan, tilt, count, label.dataset.wide / 1.9]);
        labels.push(label);
    };
    for (const plate of placedPlates(survey)) {
        const pan = wrapped(plate.pan_deg), tilt = Math.max(-86, Math.min(86, plate.tilt_deg));
        const text = (troubled.has(plate.index) ? "! " : "") + plate.number;
        put(pan, tilt, null, sheetLabel(180 - pan, 90 - tilt, text, "number", { "data-number": plate.index }));
    }
    survey.holes.forEach((hole, index) => {
        const pan = wrapped(hole.pan_deg);
        // Beside the hole, so that its hatching is seen: above it, or below at the sheet's top.
        const aside = hole.height_deg / 2 + 6, tilt = hole.tilt_deg + (hole.tilt_deg > 60 ? -aside : aside);
        put(pan, tilt, null, sheetLabel(180 - pan, 90 - tilt, "hole", "hole-name", { "data-hole": index }));
    });
    // Numerals of counts keep clear of the others, and farther of their own kind.
    const crowded = (place, [pan, tilt, count, wide_deg]) => {
        const aside = Math.abs(wrapped(pan - place.pan)), above = Math.abs(tilt - place.tilt);
        return (aside < wide_deg / 2 + 9 && above < 14) || (count === place.count && Math.hypot(aside, above) < 30);
    };
    for (const place of roomyPlaces(coverMap(survey), 3.5)) {
        if (Math.abs(place.tilt) > 84 || Math.abs(place.pan) > 174) continue;
        if (taken.some((other) => crowded(place, other))) continue;
        put(place.pan, place.tilt, place.count,
            sheetLabel(180 - place.pan, 90 - place.tilt, "×" + place.count, "count", { "data-room": place.room_deg }));
    }
    return labels;
}

function sheetAxes() {
    const pans = [180, 135, 90, 45, 0, -45, -90, -135, -180], tilts = [60, 30, 0, -30, -60];
    return [make("ol", { class: "pans", "aria-hidden": "true" }, pans.map((pan) =>
        make("li", { style: `left:${(180 - pan) / 3.6}%` }, `${numeral(pan, 0)}°`))),
    make("ol", { class: "tilts", "aria-hidden": "true" }, tilts.map((tilt) =>
        make("li", { style: `top:${(90 - tilt) / 1.8}%` }, `${numeral(tilt, 0)}°`)))];
}

function sphereSheet(page) {
    const { survey } = page, troubled = page.troubled;
    const cover = make("canvas", { class: "cover", width: 1440, height: 720, "aria-hidden": "true" });
    const map = coverMap(survey);
    if (map.width > 0)
        paintCover(cover, (x, y) => map.at(Math.floor((x * map.width) / 1440), Math.floor((y * map.height) / 720)), 14);
    const picture = page.panorama ? make("img", { src: page.panorama, alt: "", class: "picture" }) : null;
    const labels = labelsOf(survey, troubled);
    const looking = draw("g", { class: "label looking", "data-x": 180, "data-y": 90 },
        draw("circle", { r: 13, class: "halo" }), draw("circle", { r: 13 }),
        draw("path", { d: "M-20 0H-7M20 0H7M0 -20V-7M0 20V7" }));
    const overlay = draw("svg", { viewBox: "0 0 360 180", preserveAspectRatio: "none", role: "img",
        "aria-label": "Outlines of the plates on the unrolled sphere" },
    draw("defs", {}, hatching("hatch", 3)), sheetGrid(), holesOf(survey),
    placedPlates(survey).map((plate) => outlinesOf(survey, plate, troubled.has(plate.index))), looking, labels);
    const sheet = make("div", { class: "sheet", tabindex: "0", role: "application", id: "sheet",
        "aria-label": "Unrolled sphere. Arrow keys go from plate to plate." }, cover, picture, overlay);
    keepLabelSize(survey, sheet, overlay);
    listenToTaps(page, sheet);
    listenToArrows(page, sheet);
    return { sheet, overlay, looking };
}

// How wide a plate is, in pan: the middle one of all.
function usualWidth_deg(survey) {
    const widths = placedPlates(survey).map(({ outline }) => {
        const pans = outline.map(([pan]) => pan);
        return Math.max(...pans) - Math.min(...pans);
    }).sort((a, b) => a - b);
    return widths.length ? widths[Math.floor(widths.length / 2)] : 60;
}

// Degrees a pixel of a label: on the screen they keep their size, somewhat less where plates are small.
function labelUnit(survey, sheet) {
    const pixel_deg = 360 / Math.max(1, sheet.clientWidth);
    return pixel_deg * Math.max(0.62, Math.min(1, usualWidth_deg(survey) / pixel_deg / 62));
}

function keepLabelSize(survey, sheet, overlay) {
    const place = () => {
        const unit = labelUnit(survey, sheet);
        for (const label of overlay.querySelectorAll(".label")) {
            const half = (Number(label.dataset.wide || 0) / 2 + 2) * unit;
            const x = Math.max(half, Math.min(360 - half, Number(label.dataset.x)));
            label.setAttribute("transform", `translate(${x} ${label.dataset.y}) scale(${unit})`);
        }
        // A count's numeral is only shown where it has room.
        for (const label of overlay.querySelectorAll(".count"))
            label.toggleAttribute("hidden", label.dataset.room < 14 * unit);
    };
    new ResizeObserver(place).observe(sheet);
    addEventListener("beforeprint", place);
}

function listenToTaps(page, sheet) {
    let down = null;
    sheet.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
    sheet.addEventListener("pointercancel", () => { down = null; });
    sheet.addEventListener("pointerup", (event) => {
        if (!down || Math.hypot(event.clientX - down[0], event.clientY - down[1]) > TAP_PX) return;
        const box = sheet.getBoundingClientRect();
        const label = event.target.closest ? event.target.closest("[data-number]") : null;
        if (label) page.select({ plate: Number(label.dataset.number) });
        else page.tap(180 - (360 * (event.clientX - box.left)) / box.width,
            90 - (180 * (event.clientY - box.top)) / box.height);
    });
}

// From plate to plate: the nearest one that lies within 60 degrees of the arrow's way.
function listenToArrows(page, sheet) {
    const ways = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    sheet.addEventListener("keydown", (event) => {
        const way = ways[event.key];
        const plates = placedPlates(page.survey);
        if (!way || !plates.length) return;
        event.preventDefault();
        const from = page.selected.plate !== undefined ? page.survey.plates[page.selected.plate] : null;
        if (!from || !from.placed) return page.select({ plate: plates[0].index });
        let best = null, least = Infinity;
        for (const plate of plates) {
            const step = [wrapped(plate.pan_deg - from.pan_deg), plate.tilt_deg - from.tilt_deg];
            const length = Math.hypot(...step), along = step[0] * way[0] + step[1] * way[1];
            if (length < 1e-6 || along < 0.5 * length) continue;
            if (length * length / along < least) { least = length * length / along; best = plate; }
        }
        if (best) page.select({ plate: best.index });
    });
}

function backgroundSwitch(page, sheet) {
    if (!page.panorama) return null;
    const choose = (kind) => {
        sheet.dataset.ground = kind;
        for (const button of buttons) button.setAttribute("aria-pressed", button.dataset.ground === kind);
    };
    const buttons = [["cover", "How many plates"], ["picture", "Picture"]].map(([kind, name]) =>
        make("button", { type: "button", "data-ground": kind, onclick: () => choose(kind) }, name));
    choose("cover");
    return make("div", { class: "switch", role: "group", "aria-label": "Behind the outlines" }, buttons);
}

function notOnTheSheet(page) {
    const missing = page.survey.plates.map((plate, index) => ({ ...plate, index })).filter((plate) => !plate.placed);
    if (!missing.length) return null;
    return make("p", { class: "missing" }, "Without a place: ", missing.map((plate) => page.plateButton(plate.index)));
}

// On a phone the sheet is wider than the window.
function bringIntoSight(scroll, sheet, plate) {
    if (!plate.placed) return;
    const x = sheet.offsetLeft + ((180 - wrapped(plate.pan_deg)) * sheet.clientWidth) / 360;
    if (x < scroll.scrollLeft + 40 || x > scroll.scrollLeft + scroll.clientWidth - 40)
        scroll.scrollTo({ left: x - scroll.clientWidth / 2, behavior: "smooth" });
}

function showSphere(page, section) {
    const { sheet, overlay, looking } = sphereSheet(page);
    const panel = make("div", { class: "panel", id: "panel", "aria-live": "polite" });
    section.append(backgroundSwitch(page, sheet) || "",
        make("div", { class: "beside" },
            make("div", { class: "sphere" },
                make("div", { class: "scroll" }, make("div", { class: "framed" }, sheet, sheetAxes())),
                make("ul", { class: "legend" }, coverLegend(),
                    make("li", {}, make("span", { class: "swatch striped", "aria-hidden": "true" }), "hole: wanted, and no plate sees it")),
                notOnTheSheet(page)),
            panel));
    const scroll = section.querySelector(".scroll");
    requestAnimationFrame(() => { scroll.scrollLeft = (scroll.scrollWidth - scroll.clientWidth) / 2; });
    page.whenSelected((selected) => {
        const chosen = chosenPlates(page, selected);
        if (chosen.length) bringIntoSight(scroll, sheet, page.survey.plates[chosen[0]]);
        for (const element of overlay.querySelectorAll("[data-plate],[data-number]"))
            element.classList.toggle("chosen", chosen.includes(Number(element.dataset.plate ?? element.dataset.number)));
        // What is chosen lies on top of its neighbours.
        for (const plate of overlay.querySelectorAll(".plate.chosen")) overlay.insertBefore(plate, looking);
    });
    page.whenTurned(({ pan_deg, tilt_deg }) => {
        looking.dataset.x = 180 - pan_deg;
        looking.dataset.y = 90 - tilt_deg;
        const unit = labelUnit(page.survey, sheet);
        looking.setAttribute("transform", `translate(${180 - pan_deg} ${90 - tilt_deg}) scale(${unit})`);
    });
}
