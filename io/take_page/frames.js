// What each frame of the panorama cost, stage by stage.

const STAGE_STYLES = ["stage-1", "stage-2", "stage-3", "stage-4", "stage-5"];

function costDiagram(page) {
    const { survey } = page, { costs } = survey.frames;
    const totals = survey.frames.states.split("").map((_, index) => costs.reduce((sum, cost) => sum + (cost.seconds[index] || 0), 0));
    return fitted((width) => timeDiagram(page, width, { height: 240, label: "Seconds that each frame cost",
        y: { low: 0, high: Math.max(...totals, 1e-3) * 1.05, about: 4, name: "seconds" },
        content: (at) => {
            const wide = Math.max(1, (at.x(survey.first + 1) - at.x(survey.first)) * 0.82);
            // Thousands of frames are more than there are columns of pixels: each stage is one path.
            const paths = costs.map(() => "");
            totals.forEach((_, index) => {
                let below = 0;
                costs.forEach((cost, stage) => {
                    const seconds = cost.seconds[index] || 0;
                    if (seconds <= 0) return;
                    const x = at.x(survey.first + index) - wide / 2, top = at.y(below + seconds), bottom = at.y(below);
                    paths[stage] += `M${x.toFixed(1)} ${top.toFixed(1)}h${wide.toFixed(1)}V${bottom.toFixed(1)}h${(-wide).toFixed(1)}z`;
                    below += seconds;
                });
            });
            return paths.map((d, stage) => draw("path", { class: STAGE_STYLES[stage % 5], d }));
        } }));
}

// Least, middle and most of a stage, each with the frame that it was.
function costTable(page) {
    const { survey } = page, { costs } = survey.frames;
    return make("table", { id: "costs" }, headRow(["stage", "least s", "median s", "most s", "at frame"]), make("tbody", {},
        costs.map((cost, stage) => {
            const known = cost.seconds.map((value, index) => [value, index]).filter(([value]) => value !== null).sort(([a], [b]) => a - b);
            const at = ([, index]) => figure(survey, `frames.costs.${stage}.seconds.${index}`, { digits: 2 });
            return make("tr", {}, make("th", { scope: "row" }, draw("svg", { class: "mark", width: 18, height: 14, viewBox: "0 0 18 14" },
                draw("rect", { class: STAGE_STYLES[stage % 5], width: 18, height: 14 })), " ", cost.stage),
            make("td", {}, at(known[0])), make("td", {}, at(known[Math.floor(known.length / 2)])), make("td", {}, at(known[known.length - 1])),
            make("td", {}, String(survey.first + known[known.length - 1][1])));
        })));
}

function showFrames(page, section) {
    const { survey } = page, { frames } = survey;
    if (!frames) { section.remove(); return; }
    const sizes = frames.bytes.map((value, index) => [value, index]).filter(([value]) => value !== null).sort(([a], [b]) => a - b);
    const size = (entry) => figure(survey, `frames.bytes.${entry[1]}`, { digits: 1, scale: 1e-6, unit: "MB" });
    section.append(lines([
        ["Size", [figure(survey, "width"), " × ", figure(survey, "height"), `, ${survey.projection}`]],
        ["Of the sphere covered, at least", figure(survey, "covered_share", { digits: 2, scale: 100, unit: "%" })],
        ["Made now", figure(survey, "frames.made")], ["Kept by --resume", figure(survey, "frames.kept")],
        ["Gone", figure(survey, "frames.missing")],
        sizes.length ? ["A file", sizes[0][0] > 0.98 * sizes[sizes.length - 1][0] ? ["about ", size(sizes[sizes.length - 1])]
            : [size(sizes[0]), " to ", size(sizes[sizes.length - 1])]] : null,
        frames.others ? ["The take’s other frames", [figure(survey, "frames.others_there"), " of ", figure(survey, "frames.others"),
            " are there"]] : null,
        ["Written to", make("span", { class: "file" }, frames.output)],
    ].filter(Boolean)));
    if (frames.kept)
        section.append(make("p", { class: "note" }, frames.costs.length
            ? "Frames that were kept cost nothing here; the page of the run that made them says what they cost."
            : "All frames were there and whole; the pages of the runs that made them say what each cost."));
    if (frames.costs.length)
        section.append(make("div", { class: "costs" }, costDiagram(page), make("div", { class: "scroll" }, costTable(page))),
            make("p", { class: "note" }, "The next frame’s plates are read while one is composed, so stages overlap in time."));
}
