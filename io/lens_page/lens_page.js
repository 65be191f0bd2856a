// The page as a whole: which setting is looked at, and the sections in their order.

const LENS_KINDS = {
    chart: { sections: CHART_SECTIONS, overview: chartOverview },
    shading: { sections: SHADING_SECTIONS, overview: shadingOverview },
};

function readPage() {
    const lens = JSON.parse(document.getElementById("lens").textContent);
    const page = { lens, pictures: JSON.parse(document.getElementById("pictures").textContent), chosen: 0, setting: lens.settings[0] };
    // A figure of the chosen setting.
    page.figure = (path, options) => figure(lens, `settings.${page.chosen}.${path}`, options);
    page.settingButton = (index, content) => make("button", { type: "button", class: "setting", "data-choose": index,
        onclick: () => page.choose(index) }, content || lens.settings[index].name);
    return page;
}

const warningsOf = (lens) => [...lens.warnings, ...lens.settings.flatMap((setting) => setting.warnings || [])];

function showVerdict(page, header) {
    const { lens } = page, warnings = warningsOf(lens);
    const left_out = lens.kind === "chart"
        ? lens.settings.flatMap((setting) => setting.pictures.filter((picture) => !picture.used)).length : 0;
    const count = warnings.length ? `Measured, ${warnings.length} to know` : "Measured";
    tellVerdict(header, { command: lens.command, state: warnings.length ? "know" : "holds", count, verdict: lens.verdict,
        title: `Lens: ${lens.verdict}`, facts: [
            [String(lens.settings.length), lens.settings.length === 1 ? "setting" : "settings"],
            left_out ? [String(left_out), left_out === 1 ? "picture left out" : "pictures left out"] : null] });
}

function warningCards(warnings) {
    return warnings.map((text) => make("li", { class: "finding" }, make("h3", {},
        make("span", { class: "sign", "aria-hidden": "true" }, "i"), "To know"),
        make("p", { class: "text" }, sentence(text, []))));
}

function showChosen(page, section) {
    const { setting } = page;
    section.querySelector("h2").textContent = setting.name;
    section.append(make("ul", { class: "sentences" }, setting.verdict.map((text) => make("li", {}, text))));
    const cards = [...(setting.pictures && page.lens.kind === "chart" ? setting.pictures.filter((picture) => !picture.used)
        .map((picture) => make("li", { class: "finding" }, make("h3", {},
            make("span", { class: "sign", "aria-hidden": "true" }, "–"), make("span", { class: "file" }, picture.file)),
            make("p", { class: "text" }, `Left out: ${picture.why}`))) : []), ...warningCards(setting.warnings || [])];
    if (cards.length) section.append(make("ul", { class: "findings" }, cards));
    for (const note of setting.notes || []) section.append(make("p", { class: "note" }, sentence(note, [])));
}

function showJob(page, footer) {
    const told = [...new Set(page.lens.notes)];
    if (told.length) footer.append(make("h2", {}, "Notes"), make("ul", {}, told.map((text) => make("li", {}, text))));
}

// Every setting's own sections are made anew when another is chosen.
function makeSections(page) {
    const main = document.querySelector("main"), kind = LENS_KINDS[page.lens.kind], fillers = [];
    const add = (id, name, title) => {
        const section = make("section", { id, "data-name": name }, make("h2", {}, title));
        main.append(section);
        return section;
    };
    if (page.lens.warnings.length)
        add("know", "To know", "To know").append(make("ul", { class: "findings" }, warningCards(page.lens.warnings)));
    if (page.lens.settings.length > 1) kind.overview(page, add("settings", "Settings", "The settings measured"));
    for (const [id, name, title, show] of [["chosen", "Verdict", "", showChosen], ...kind.sections])
        fillers.push([add(id, name, title), show]);
    return () => {
        for (const [section, show] of fillers) {
            while (section.children.length > 1) section.lastChild.remove();
            show(page, section);
        }
        fitAll(document);
    };
}

function settingChoice(page, nav) {
    if (page.lens.settings.length < 2) return;
    const choice = make("select", { id: "setting", "aria-label": "Setting", onchange: () => page.choose(Number(choice.value)) },
        page.lens.settings.map((setting, index) => make("option", { value: index }, setting.name)));
    nav.prepend(choice);
}

const page = readPage();
const refill = makeSections(page);
page.choose = (index) => {
    page.chosen = index;
    page.setting = page.lens.settings[index];
    refill();
    const choice = document.getElementById("setting");
    if (choice) choice.value = String(index);
    for (const button of document.querySelectorAll("button[data-choose]"))
        button.setAttribute("aria-pressed", String(Number(button.dataset.choose) === index));
    for (const point of document.querySelectorAll(".point[data-choose]"))
        point.classList.toggle("chosen", Number(point.dataset.choose) === index);
};
showVerdict(page, document.getElementById("verdict"));
showContents(document.getElementById("contents"));
settingChoice(page, document.getElementById("contents"));
showJob(page, document.getElementById("job"));
page.choose(0);
unfoldInPrint(document.querySelector("main"));
addEventListener("resize", () => requestAnimationFrame(() => fitAll(document)));
document.body.dataset.ready = "yes";
