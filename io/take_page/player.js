// Pictures of the panorama: a few that travel in the page, and the previews of all frames where they
// lie beside it.

const PICTURE_NAMES = { first: "First", middle: "Middle", last: "Last", worst: "Worst", busiest: "Busiest" };

// The preview of a frame; a file's name can hold anything.
function previewOf(page, frame) {
    const parts = page.preview.split("/");
    parts.push(parts.pop().replace(/#+/, (run) => String(frame).padStart(run.length, "0")));
    return parts.map(encodeURIComponent).join("/");
}

// What there is to say of one frame.
function stateWords(page, frame) {
    const { survey } = page, told = [], calm = [];
    for (const camera of survey.cameras) {
        if (holds(camera.missing, frame)) told.push(`${camera.name} is missing`);
        if (holds(camera.black, frame)) told.push(`${camera.name} is black`);
        if (holds(camera.damaged, frame)) told.push(`${camera.name} can’t be read`);
        if (holds(camera.doubled, frame)) told.push(`${camera.name} shows the frame before again`);
        for (const knock of camera.knocks)
            if (knock.frame === frame) told.push(`${camera.name} is knocked here`);
            else if (knock.as === "off" && knock.frame < frame) told.push(`${camera.name} stands off since its knock`);
    }
    for (const seams of survey.seams)
        if (seams.from_frame <= frame && frame < seams.frame) calm.push(`seams are on their way (${seams.why || "not said why"})`);
    if (survey.shakes.some((shake) => holds(shake.unknown, frame))) told.push("how the mount shook is not known");
    const state = survey.frames && survey.frames.states[frame - survey.first];
    if (state === "g") told.push("its panorama is gone");
    return { told: [...new Set(told)], calm: [...new Set(calm)] };
}

// Shares of the picture box at which a direction lies; null outside.
function placeOnPicture(page, pan_deg, tilt_deg) {
    const { shown, projection } = page.survey, tan = Math.tan((tilt_deg * Math.PI) / 180);
    const across = (180 - wrapped(pan_deg)) / 360;
    const down = projection === "cylindrical" ? (shown.top_tan - tan) / (shown.top_tan - shown.bottom_tan) : (90 - tilt_deg) / 180;
    const x = (across - shown.x) / shown.width, y = (down - shown.y) / shown.height;
    return x >= 0 && x <= 1 && y >= 0 && y <= 1 ? { x, y } : null;
}

function overPicture(page) {
    const percent = (share) => `${(100 * share).toFixed(2)}%`;
    const names = page.survey.cameras.filter((camera) => camera.placed).map((camera) => {
        const at = placeOnPicture(page, camera.pan_deg, camera.tilt_deg);
        return at ? make("span", { class: "camera-name", style: `left:${percent(at.x)}` }, camera.name) : null;
    });
    const boxes = page.survey.seams.map((seams, index) => seams.places.map((place) => {
        const middle = placeOnPicture(page, place.pan_deg, place.tilt_deg);
        if (!middle) return null;
        const wide = place.width_deg / 360 / page.survey.shown.width;
        const edges = [1, -1].map((side) => placeOnPicture(page, place.pan_deg, place.tilt_deg + (side * place.height_deg) / 2));
        const top = edges[0] ? edges[0].y : 0, bottom = edges[1] ? edges[1].y : 1;
        return make("span", { class: "seam-box", style: `left:${percent(middle.x - wide / 2)};top:${percent(top)};` +
            `width:${percent(wide)};height:${percent(bottom - top)}` }, make("b", {}, String(index + 1)));
    }));
    return make("div", { class: "over-picture" }, names, boxes);
}

function showPictures(page, section) {
    const { survey } = page, { shown } = survey;
    const wide = shown.width * survey.width, high = shown.height * survey.height;
    const image = make("img", { alt: "" }), note = make("p", { class: "no-picture", role: "status" });
    const screen = make("div", { class: "screen", id: "screen", style: `aspect-ratio:${wide.toFixed(0)} / ${high.toFixed(0)}` },
        image, note, overPicture(page));
    const words = make("p", { id: "frame-words" }), state = make("p", { id: "frame-state" });
    let asked = null, loaded = () => {};

    const showStill = (index, remark) => {
        image.removeAttribute("style");
        image.hidden = false;
        image.src = page.stills[index];
        note.textContent = remark;
    };
    const stillOf = (frame) => survey.pictures.findIndex((picture, index) => picture.frame === frame && page.stills[index]);
    const showBlank = (remark) => { image.hidden = true; image.removeAttribute("src"); note.textContent = remark; };
    // Without its preview a frame shows the picture that travels in the page, if it is one of those.
    const fallBack = (frame, remark) => {
        const same = stillOf(frame);
        if (same >= 0) showStill(same, "");
        else showBlank(remark);
    };
    image.addEventListener("error", () => {
        if (asked === null) return;
        const frame = asked;
        asked = null;
        fallBack(frame, `No picture of frame ${frame} lies at ${page.preview}, seen from this page.`);
        loaded();
    });
    image.addEventListener("load", () => { note.textContent = ""; asked = null; loaded(); });

    const stills = survey.pictures.map((picture, index) => (page.stills[index] ? make("button", { type: "button",
        "data-picture": index, onclick: () => { stop(); page.choose(picture.frame); } },
        PICTURE_NAMES[picture.what], " ", make("span", { class: "figure" }, String(picture.frame))) : null));
    const slider = make("input", { type: "range", min: survey.first, max: survey.last, step: 1, id: "slider",
        "aria-label": "Frame", oninput: () => { stop(); page.choose(Number(slider.value)); } });
    const step = (by, label, sign) => make("button", { type: "button", "aria-label": label,
        onclick: () => { stop(); page.choose(page.frame + by); } }, sign);
    let playing = false;
    const play = make("button", { type: "button", id: "play", "aria-pressed": "false", onclick: () => {
        if (playing) { stop(); return; }
        playing = true;
        play.setAttribute("aria-pressed", "true");
        const wait = 1000 / Math.min(24, survey.rate ? survey.rate.per_second : 24);
        loaded = () => { if (playing) setTimeout(() => { if (playing)
            page.choose(page.frame < survey.last ? page.frame + 1 : survey.first); }, wait); };
        page.choose(page.frame < survey.last ? page.frame + 1 : survey.first);
    } }, "Play");
    function stop() {
        playing = false;
        loaded = () => {};
        play.setAttribute("aria-pressed", "false");
    }
    const names = make("button", { type: "button", "aria-pressed": "true", id: "names", onclick: () => {
        const on = names.getAttribute("aria-pressed") !== "true";
        names.setAttribute("aria-pressed", String(on));
        screen.classList.toggle("plain", !on);
    } }, survey.seams.length ? "Cameras and moved seams" : "Cameras");

    section.append(make("div", { class: "switch", role: "group", "aria-label": "Pictures" }, stills, names), screen);
    if (page.preview && survey.count > 1)
        section.append(make("div", { class: "steps" }, step(-1, "Frame before", "‹"), slider, step(1, "Frame after", "›"), play));
    section.append(words, state, page.preview ? "" : make("p", { class: "note" }, survey.frames
        ? "There are no previews beside the frames to step through (--no-preview, or no JPEG or PNG)."
        : "Composed small from the plates; stitch makes a preview of every frame to step through."));

    page.whenChosen((frame) => {
        slider.value = frame;
        words.textContent = sentence(frameWords(page, frame), []);
        const { told, calm } = stateWords(page, frame), all = [...told, ...calm];
        state.textContent = all.length ? sentence(all.join("; "), page.files) + "." : "";
        state.classList.toggle("told", told.length > 0);
        for (const button of section.querySelectorAll("[data-picture]"))
            button.setAttribute("aria-pressed", String(survey.pictures[button.dataset.picture].frame === frame));
        if (page.preview) {
            asked = frame;
            image.hidden = false;
            // The preview is of the whole panorama; the box shows the part that is seen.
            image.setAttribute("style", `width:${100 / shown.width}%;height:${100 / shown.height}%;` +
                `left:${(-100 * shown.x) / shown.width}%;top:${(-100 * shown.y) / shown.height}%`);
            image.src = previewOf(page, frame);
            return;
        }
        asked = null;
        if (stillOf(frame) >= 0) { showStill(stillOf(frame), ""); return; }
        const have = survey.pictures.map((picture, index) => [picture.frame, index]).filter(([, index]) => page.stills[index])
            .sort(([a], [b]) => Math.abs(a - frame) - Math.abs(b - frame));
        if (have.length) showStill(have[0][1], `This is frame ${have[0][0]}, the nearest that travels in the page.`);
        else showBlank("No picture of this take could be made.");
    });
}
