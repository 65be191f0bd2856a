// How each camera stands on the mount, and which clip it is.

// "|name" heads a column of words.
const headRow = (names) => make("thead", {}, make("tr", {}, names.map((name) => make("th",
    { scope: "col", class: name.startsWith("|") ? "words" : "" }, name.replace("|", "")))));

function mountTable(page) {
    const { survey } = page;
    const columns = [["pan °", "pan_deg", 3], ["tilt °", "tilt_deg", 3], ["roll °", "roll_deg", 3], ["ties", "ties", 0],
        ["RMS px", "rms_px", 3], ["sure to px", "sigma_px", 3], ["focal mm", "focal_mm", 3]];
    const by_pose = survey.cameras.some((camera) => camera.placed && camera.placed_by === "pose");
    return make("table", {}, headRow(["", ...columns.map(([name]) => name), ...(by_pose ? [""] : [])]), make("tbody", {},
        survey.cameras.map((camera, index) => make("tr", { "data-camera": index, class: camera.placed ? "" : "unplaced" },
            make("th", { scope: "row" }, camera.name),
            camera.placed
                ? [columns.map(([, key, digits]) => make("td", {}, figure(survey, `cameras.${index}.${key}`, { digits }))),
                    by_pose ? make("td", { class: "words" }, camera.placed_by === "pose" ? "by its pose alone" : "") : null]
                : make("td", { class: "words", colspan: columns.length + (by_pose ? 1 : 0) },
                    make("span", { class: "flag" }, "! no place: "), camera.why)))));
}

const rateWords = (rate) => (rate ? String(Number(rate.per_second.toFixed(3))) : "–");

function clipsTable(page) {
    const { survey } = page;
    const span = (from, to) => (from === null ? "–" : [make("span", { class: "whole" }, from, " to"), " ", make("span", { class: "whole" }, to)]);
    return make("table", {}, headRow(["", "|clip", "size", "frames/s", "its frames", "|its timecodes", "|lens data"]),
        make("tbody", {}, survey.cameras.map((camera) => make("tr", {},
            make("th", { scope: "row" }, camera.name), make("td", { class: "file" }, camera.file),
            make("td", {}, `${camera.width_px}×${camera.height_px}`), make("td", {}, rateWords(survey.rate)),
            make("td", {}, `${camera.first} to ${camera.last}`, camera.ahead ? make("div", { class: "quiet" },
                `${numeral(camera.ahead, 0)} against the take’s`) : null),
            make("td", { class: "words" }, span(camera.first_timecode, camera.last_timecode)),
            make("td", { class: "words file" }, camera.lens_source || "none")))));
}

function showMount(page, section) {
    const { survey } = page;
    const how = survey.in_turn
        ? "One camera, a clip for each direction: the clips share no mount and no time. "
        : "Cameras that rolled together on one mount; pan is positive to the left, tilt up. ";
    section.append(make("p", { class: "lead" }, how, survey.mount_ties > 0
        ? [figure(survey, "mount_ties"), " ties", survey.moments.length ? ` from ${plural(survey.moments.length, "moment", "moments")}` : "", " agree to ",
            figure(survey, "mount_rms_px", { digits: 3, unit: "px RMS" }), " of the plates."] : null),
    make("div", { class: "scroll" }, mountTable(page)), make("div", { class: "scroll" }, clipsTable(page)));
}
