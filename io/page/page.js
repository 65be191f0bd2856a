// The page as a whole: what is chosen, who wants to know, and the sections in their order.

function readPage() {
    const survey = JSON.parse(document.getElementById("survey").textContent);
    const pictures = JSON.parse(document.getElementById("pictures").textContent);
    const jpeg = (data) => (data ? "data:image/jpeg;base64," + data : null);
    const grave = survey.findings.filter((finding) => finding.grave);
    const page = {
        survey, thumbnails: survey.plates.map((_, index) => jpeg(pictures.thumbnails[index])),
        panorama: jpeg(pictures.quick_panorama), selected: {}, listeners: [], turners: [],
        troubled: new Set(survey.plates.map((plate, index) =>
            (grave.some((finding) => finding.plates.includes(plate.file)) ? index : -1)).filter((index) => index >= 0)),
    };
    page.whenSelected = (listener) => { page.listeners.push(listener); listener(page.selected); };
    page.whenTurned = (listener) => page.turners.push(listener);
    page.turned = (view) => { for (const listener of page.turners) listener(view); };
    page.look = () => {};
    page.select = (selected) => {
        page.selected = selected;
        for (const listener of page.listeners) listener(selected);
    };
    page.tap = (pan_deg, tilt_deg) => page.select(selectionAt(page, pan_deg, tilt_deg));
    page.plateButton = (index) => make("button", { type: "button", class: "number", "data-select": index,
        "aria-label": `Plate ${survey.plates[index].number}`,
        onclick: () => page.select({ plate: index }) }, String(survey.plates[index].number));
    return page;
}

// One plate there: that plate. Two and more: the pair of the two whose middles are nearest.
function selectionAt(page, pan_deg, tilt_deg) {
    const here = platesAt(page.survey, pan_deg, tilt_deg).map((plate) => plate.index);
    if (!here.length) return { nothing_here: direction(pan_deg, tilt_deg) };
    const pair = page.survey.pairs.findIndex(({ a, b }) => here.slice(0, 2).includes(a) && here.slice(0, 2).includes(b));
    return here.length > 1 && pair >= 0 ? { pair, here } : { plate: here[0], here };
}

function showVerdict(page, header) {
    const { survey } = page;
    const grave = survey.findings.filter((finding) => finding.grave).length, all = survey.findings.length;
    const state = grave ? "fix" : all || survey.status ? "know" : "holds";
    const count = grave ? `${grave} to fix${all > grave ? `, ${all - grave} to know` : ""}`
        : all ? `${all} to know` : survey.status ? "Look at this" : "Nothing to fix";
    const ties = survey.pairs.reduce((sum, pair) => sum + pair.ties, 0);
    tellVerdict(header, { command: survey.command, state, count, verdict: survey.verdict,
        title: `${count}: ${survey.plates.length} plates`, facts: [
            [String(survey.plates.filter((plate) => plate.placed).length), `of ${survey.plates.length} plates in place`],
            [figure(survey, "cover.covered_share", { digits: 1, scale: 100, unit: "%" }), "of the sphere covered"],
            [String(survey.holes.length), survey.holes.length === 1 ? "hole" : "holes"],
            [ties.toLocaleString("en").replace(/,/g, "\u202f"), "ties"],
            survey.head_offset && survey.head_offset.offset_mm !== null
                ? [figure(survey, "head_offset.offset_mm", { digits: 0, unit: "mm" }), "head off the entrance pupil"] : null] });
}

function plateFinding(page, finding) {
    const plates = finding.plates.map((file) => [file, page.survey.plates.findIndex((plate) => plate.file === file)]);
    const aimed = finding.pan_deg !== null && finding.tilt_deg !== null;
    return findingCard(finding, {
        about: plates.map(([file, index]) => (index >= 0 ? page.plateButton(index) : make("span", { class: "file" }, file))),
        aim: aimed ? make("button", { type: "button", class: "aim", onclick: () => {
            page.look(finding.pan_deg, finding.tilt_deg);
            page.tap(finding.pan_deg, finding.tilt_deg);
            document.getElementById("sphere").scrollIntoView({ behavior: "smooth" });
        } }, direction(finding.pan_deg, finding.tilt_deg)) : null });
}

function showFindings(page, section) {
    const { findings } = page.survey;
    if (!findings.length) {
        section.append(make("p", { class: "note" }, "Nothing was found that needs fixing."));
        return;
    }
    section.append(make("ol", { class: "findings" }, worstFirst(findings).map((finding) => plateFinding(page, finding))));
}

function showPlates(page, section) {
    const card = (plate, index) => make("button", { type: "button", class: "card", "data-card": index, onclick: () => {
        page.select({ plate: index });
        if (plate.placed) page.look(plate.pan_deg, plate.tilt_deg);
    } },
    thumbnailOf(page, index),
    make("span", { class: "number" }, String(plate.number)),
    make("span", { class: "file" }, plate.file),
    plate.placed ? make("span", { class: "where" }, direction(plate.pan_deg, plate.tilt_deg))
        : make("span", { class: "where why" }, "no place"),
    page.troubled.has(index) ? make("span", { class: "flag" }, "! to fix") : null);
    section.append(make("div", { class: "cards" }, page.survey.plates.map(card)));
    page.whenSelected((selected) => {
        const chosen = chosenPlates(page, selected);
        for (const element of section.querySelectorAll("[data-card]"))
            element.classList.toggle("chosen", chosen.includes(Number(element.dataset.card)));
    });
}

const ALL_COLUMNS = [
    ["pan °", "pan_deg", 2], ["tilt °", "tilt_deg", 2], ["roll °", "roll_deg", 2], ["focal mm", "focal_mm", 2],
    ["focus m", "focus_m", 2], ["T", "t_stop", 2], ["f", "f_stop", 2], ["ISO", "iso", 0], ["gain stops", "gain_stops", 2],
    ["ties", "ties", 0], ["rms px", "rms_px", 3], ["sigma px", "sigma_px", 3], ["clipped %", "clipped", 2, 100],
    ["crushed %", "crushed", 2, 100], ["detail", "sharpness", 2],
];

function platesTable(page) {
    const { survey } = page;
    const columns = ALL_COLUMNS.filter(([, key]) => survey.plates.some((plate) => plate[key] !== null && plate[key] !== undefined));
    return make("table", {}, make("thead", {}, make("tr", {}, ["", "file", ...columns.map(([name]) => name), "timecode"]
        .map((name) => make("th", { scope: "col" }, name)))),
    make("tbody", {}, survey.plates.map((plate, index) => make("tr", {},
        make("th", { scope: "row" }, String(plate.number)), make("td", { class: "file" }, plate.file),
        columns.map(([, key, digits, scale]) => make("td", {}, figure(survey, `plates.${index}.${key}`, { digits, scale: scale || 1 }))),
        make("td", {}, plate.timecode || "–")))));
}

function pairsTable(page) {
    const { survey } = page;
    const number = (index) => survey.plates[index].number;
    return make("table", {}, make("thead", {}, make("tr", {}, ["plates", "overlap %", "ties", "rms px", "parallax px"]
        .map((name) => make("th", { scope: "col" }, name)))),
    make("tbody", {}, survey.pairs.map((pair, index) => make("tr", {},
        make("th", { scope: "row" }, `${number(pair.a)} and ${number(pair.b)}`),
        [["overlap", 1, 100], ["ties", 0, 1], ["rms_px", 3, 1], ["parallax_px", 2, 1]].map(([key, digits, scale]) =>
            make("td", {}, figure(survey, `pairs.${index}.${key}`, { digits, scale })))))));
}

function showAll(page, section) {
    const { survey } = page;
    const folded = (name, table) => make("details", {}, make("summary", {}, name), make("div", { class: "scroll" }, table));
    section.append(folded(plural(survey.plates.length, "plate", "plates"), platesTable(page)),
        survey.pairs.length ? folded(plural(survey.pairs.length, "pair", "pairs"), pairsTable(page)) : "");
    unfoldInPrint(section);
}

const page = readPage();
const section = (id) => document.getElementById(id);
showVerdict(page, section("verdict"));
showFindings(page, section("findings"));
showSphere(page, section("sphere"));
showDetails(page, section("panel"));
showLookAround(page, section("look"));
showPlates(page, section("plates"));
showTracks(page, section("tracks"));
showTies(page, section("ties"));
showAll(page, section("all"));
tellJob(page.survey, section("job"));
showContents(section("contents"));
