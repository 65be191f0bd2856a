// Where the seams moved, when and why. The numbers stand on the pictures as well.

// Which two cameras it is between, where its middle is, and how far it reaches.
function seamPlace(page, path, place) {
    const { survey } = page, degrees = (key) => [figure(survey, path + key, { digits: 0 }), "°"];
    return make("span", { class: "quiet" }, `${survey.cameras[place.a].name} | ${survey.cameras[place.b].name} at pan `,
        degrees("pan_deg"), ", tilt ", degrees("tilt_deg"), ", ", degrees("width_deg"), " × ", degrees("height_deg"));
}

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
        runWords([seams.from_frame, seams.frame])),
        make("span", {}, sentence(seams.why || "not said why", page.files), ": ",
            seams.places.map((place, at) => [at ? "; " : "", seamPlace(page, `seams.${index}.places.${at}.`, place)]))))));
}
