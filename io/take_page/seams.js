// Where the seams moved, when and why. The numbers stand on the pictures as well.

function showSeams(page, section) {
    const { survey } = page;
    if (!survey.seams.length) {
        section.append(make("p", { class: "note" }, "Seams stay where they are all the time."));
        return;
    }
    section.append(make("p", { class: "lead" }, "Seams stay until something crosses one, and then pass over a few frames. " +
        "The numbers stand on the picture above."),
    fitted((width) => strip(page, width, { label: "Frames at which seams are on their way", parts: [
        { runs: [[survey.first, survey.last]], style: "unused" },
        { runs: survey.seams.map((seams) => [Math.max(survey.first, seams.from_frame), Math.min(survey.last, seams.frame - 1)]),
            style: "there" }] })),
    make("ol", { class: "seam-moves" }, survey.seams.map((seams, index) => make("li", {},
        make("b", { class: "order" }, String(index + 1)),
        make("button", { type: "button", class: "number", "data-seams": index, "aria-label": `To frame ${seams.frame}`,
            onclick: () => page.show(Math.max(survey.first, Math.min(survey.last, seams.frame - 2))) },
            `${seams.from_frame} to ${seams.frame}`),
        make("span", {}, sentence(seams.why || "not said why", page.files), ", at pan ",
            figure(survey, `seams.${index}.pan_deg`, { digits: 0 }), "°, tilt ", figure(survey, `seams.${index}.tilt_deg`, { digits: 0 }), "°: ",
            figure(survey, `seams.${index}.width_deg`, { digits: 0 }), "° × ", figure(survey, `seams.${index}.height_deg`, { digits: 0 }), "°")))));
}
