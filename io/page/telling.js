// What every page tells the same way: the verdict, findings, and the job's notes at the foot.

const SIGNS = { fix: "!", know: "i", holds: "✓" };
const KINDS = {
    hole: "Hole", overlap: "Little overlap", not_tied: "Not tied", knocked: "Knocked", texture: "Nothing to tie to",
    blur: "Soft", exposure: "Exposure moved", clipped: "Clipped", crushed: "Crushed", focus: "Focus moved",
    iris: "Iris moved", focal: "Focal length changed", roll: "Horizon leans", parallax: "Parallax", shake: "Shake",
    timecode: "Timecode", sample: "Lens data", missing_plate: "Plate missing", duplicate: "The same twice",
    damaged: "Damaged file",
};

// `state` is one of SIGNS; `count` says how much there is to do, `verdict` what was found, in a
// sentence; `facts` are [value, name], the value as it goes into make().
function tellVerdict(header, { command, state, count, verdict, facts, title }) {
    header.dataset.state = state;
    header.append(
        make("p", { class: "project" }, `plateloom ${command} · written ${writtenAt()}`),
        make("div", { class: "verdict" }, make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[state]),
            make("div", {}, make("p", { class: "count" }, count), make("h1", { id: "verdict-words" }, verdict))),
        make("ul", { class: "facts" }, facts.filter(Boolean).map(([value, name]) =>
            make("li", {}, make("b", {}, value), " ", name))));
    document.title = `${SIGNS[state]} ${title}`;
}

// `kind`: the finding's name where it is not that of KINDS; `about` and `aim` are what stands beside
// it: who it is about, where to look.
function findingCard(finding, { kind, about, aim }) {
    return make("li", { class: finding.grave ? "finding grave" : "finding", "data-kind": finding.kind },
        make("h3", {}, make("span", { class: "sign", "aria-hidden": "true" }, finding.grave ? "!" : "i"),
            kind || KINDS[finding.kind] || finding.kind, about, aim),
        make("p", { class: "text" }, sentence(finding.text, finding.plates)),
        finding.advice ? make("p", { class: "advice" }, sentence(finding.advice, finding.plates)) : null);
}

// Worst first, otherwise in the order that the survey gives.
function worstFirst(findings) {
    return [...findings.filter((finding) => finding.grave), ...findings.filter((finding) => !finding.grave)];
}

function tellJob(survey, footer) {
    const told = [...survey.warnings.map((text) => "Warning: " + text), ...survey.notes];
    if (told.length) footer.append(make("h2", {}, "Notes"), make("ul", {}, told.map((text) => make("li", {}, text))));
    const stages = survey.stages.map((stage, index) =>
        [" ", stage.stage, " ", figure(survey, `stages.${index}.seconds`, { digits: 1, unit: "s" }), "\u2003"]);
    if (stages.length) footer.append(make("p", { class: "stages" }, "Time: ", stages.flat()));
    if (survey.peak_memory_bytes > 0)
        footer.append(make("p", {}, "Memory: ", figure(survey, "peak_memory_bytes", { digits: 1, scale: 1e-9, unit: "GB" })));
}
