// The page of a take as a whole: which frame is chosen, and the sections in their order.

function readPage() {
    const survey = JSON.parse(document.getElementById("survey").textContent);
    const pictures = JSON.parse(document.getElementById("pictures").textContent);
    const page = {
        survey, preview: pictures.preview, listeners: [], files: survey.cameras.map((camera) => camera.name),
        stills: pictures.jpeg.map((data) => (data ? "data:image/jpeg;base64," + data : null)), frame: survey.first,
    };
    page.whenChosen = (listener) => page.listeners.push(listener);
    page.choose = (frame) => {
        page.frame = Math.max(survey.first, Math.min(survey.last, frame));
        for (const listener of page.listeners) listener(page.frame);
        for (const drawing of document.querySelectorAll("svg.over-time")) drawing.moveTo(page.frame);
    };
    // Chosen from elsewhere on the page: the picture comes into sight.
    page.show = (frame) => {
        page.choose(frame);
        document.getElementById("pictures-shown").scrollIntoView({ behavior: "smooth" });
    };
    return page;
}

function showVerdict(page, header) {
    const { survey } = page, { frames } = survey, placed = survey.cameras.filter((camera) => camera.placed).length;
    const grave = survey.findings.filter((finding) => finding.grave).length, all = survey.findings.length;
    const count = grave ? `${grave} to look at${all > grave ? `, ${all - grave} to know` : ""}`
        : all ? `${all} to know` : "Nothing to look at";
    tellVerdict(header, { command: survey.command, state: grave ? "fix" : all ? "know" : "holds", count, verdict: survey.verdict,
        title: `${count}: frames ${runWords([survey.first, survey.last])}`, facts: [
            frames ? [figure(survey, "frames.made"), "frames made"] : [figure(survey, "count"), "frames solved"],
            frames ? [figure(survey, "frames.kept"), "kept"] : null,
            frames ? [figure(survey, "frames.missing"), "missing"] : null,
            [figure(survey, "to_look_at"), survey.to_look_at === 1 ? "frame to look at" : "frames to look at"],
            [String(placed), `of ${survey.cameras.length} cameras in place`],
            [figure(survey, "covered_share", { digits: 1, scale: 100, unit: "%" }), "of the sphere covered"]] });
    const { first, last, timecodes } = survey;
    header.querySelector(".project").append(` · frames ${runWords([first, last])}`,
        timecodes.length ? ` · ${timecodes[0]} to ${timecodes[timecodes.length - 1]}` : "");
}

// A take has names of its own for some kinds.
const TAKE_KINDS = { not_tied: "No place", crushed: "Black frames", missing_plate: "Frames missing", duplicate: "Doubled frames",
    damaged: "Frames can’t be read", shake: "Shake", knocked: "Knocked camera" };

function takeFinding(page, finding) {
    const { first, last } = page.survey, names = finding.plates.map((name) => make("span", { class: "file quiet" }, name));
    const jumps = finding.frames.slice(0, 3).map(([from]) => make("button", { type: "button", class: "aim", "data-frame": from,
        onclick: () => page.show(Math.max(first, Math.min(last, from))) }, `frame ${from}`));
    return findingCard(finding, { kind: TAKE_KINDS[finding.kind], about: names, aim: jumps });
}

function showFindings(page, section) {
    const { findings } = page.survey;
    section.append(findings.length
        ? make("ol", { class: "findings" }, worstFirst(findings).map((finding) => takeFinding(page, finding)))
        : make("p", { class: "note" }, "Nothing was found that needs a look."));
}

const page = readPage();
const section = (id) => document.getElementById(id);
showVerdict(page, section("verdict"));
showFindings(page, section("findings"));
showPictures(page, section("pictures-shown"));
showMount(page, section("mount"));
showClips(page, section("time"));
showShake(page, section("shake"));
showLight(page, section("light"));
showSeams(page, section("seams"));
showDistance(page, section("distance"));
showFrames(page, section("frames"));
tellJob(page.survey, section("job"));
showContents(section("contents"));
fitAll(document);
// What is worst is seen first.
const worst = page.survey.pictures.find((picture) => picture.what === "worst") || page.survey.pictures[0];
page.choose(worst ? worst.frame : page.survey.first);
addEventListener("resize", () => requestAnimationFrame(() => fitAll(document)));
document.body.dataset.ready = "yes";
