// The quick panorama from inside: drag to turn, pinch or wheel to come nearer. The view is drawn
// only when it changed, so that a tablet's battery lasts the day.

const WIDEST_DEG = 100, CLOSEST_DEG = 15;

// three.js lays a sphere's texture from -x; mirrored, it is seen from inside with pan 0 in its middle.
function lookDirection(pan_deg, tilt_deg) {
    const pan = (pan_deg * Math.PI) / 180, tilt = (tilt_deg * Math.PI) / 180;
    return new THREE.Vector3(-Math.cos(pan) * Math.cos(tilt), Math.sin(tilt), Math.sin(pan) * Math.cos(tilt));
}

function panoramaScene(image) {
    const texture = new THREE.Texture(image);
    texture.minFilter = THREE.LinearFilter;
    texture.generateMipmaps = false;
    texture.needsUpdate = true;
    const sphere = new THREE.SphereBufferGeometry(10, 96, 48);
    sphere.scale(-1, 1, 1);
    const scene = new THREE.Scene();
    scene.add(new THREE.Mesh(sphere, new THREE.MeshBasicMaterial({ map: texture })));
    return scene;
}

function addOutlines(survey, scene) {
    const group = new THREE.Group();
    for (const plate of placedPlates(survey)) {
        const points = plate.outline.map(([pan, tilt]) => lookDirection(pan, tilt).multiplyScalar(9.9));
        for (const [colour, far] of [[0x101418, 9.9], [0xffffff, 9.8]])
            group.add(new THREE.Line(
                new THREE.BufferGeometry().setFromPoints(points.map((p) => p.clone().setLength(far))),
                new THREE.LineBasicMaterial({ color: colour })));
    }
    group.visible = false;
    scene.add(group);
    return group;
}

function webGlRenderer() {
    // A browser without WebGL says so by throwing; three.js also complains to the console.
    const probe = document.createElement("canvas");
    if (!window.THREE || !(probe.getContext("webgl2") || probe.getContext("webgl"))) return null;
    try {
        const renderer = new THREE.WebGLRenderer({ antialias: true, preserveDrawingBuffer: true });
        renderer.setPixelRatio(Math.min(2, window.devicePixelRatio || 1));
        return renderer;
    } catch (error) {
        return null;
    }
}

function showFlat(page, section) {
    section.append(make("p", { class: "note", id: "flat-note" },
        "This browser has no WebGL, so the panorama lies flat here: left edge pan +180°, right edge pan −180°."),
    make("img", { src: page.panorama, alt: "The panorama, flat", class: "flat" }));
}

function turnByFingers(view, canvas) {
    const fingers = new Map();
    const spread = () => {
        const [a, b] = [...fingers.values()];
        return Math.hypot(a.x - b.x, a.y - b.y);
    };
    let moved_px = 0;
    canvas.addEventListener("pointerdown", (event) => {
        if (!fingers.size) moved_px = 0;
        canvas.setPointerCapture(event.pointerId);
        fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    });
    canvas.addEventListener("pointermove", (event) => {
        const before = fingers.get(event.pointerId);
        if (!before) return;
        moved_px += Math.hypot(event.clientX - before.x, event.clientY - before.y);
        const pinched = fingers.size === 2 ? spread() : 0;
        // What is under the finger stays under it.
        const degrees = view.height_deg / canvas.clientHeight;
        const level = Math.max(0.2, Math.cos((view.tilt_deg * Math.PI) / 180));
        const share = 1 / fingers.size;
        view.turn(((event.clientX - before.x) * degrees * share) / level, (event.clientY - before.y) * degrees * share);
        fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
        if (pinched > 0) view.zoom(pinched / spread());
    });
    for (const end of ["pointerup", "pointercancel"])
        canvas.addEventListener(end, (event) => {
            if (end === "pointerup" && fingers.size === 1 && moved_px < TAP_PX) view.tap(event.offsetX, event.offsetY);
            fingers.delete(event.pointerId);
        });
    canvas.addEventListener("wheel", (event) => {
        event.preventDefault();
        view.zoom(Math.exp(event.deltaY * 0.0012));
    }, { passive: false });
}

function turnByKeys(view, canvas) {
    const step = 5;
    const keys = {
        ArrowLeft: () => view.turn(step, 0), ArrowRight: () => view.turn(-step, 0),
        ArrowUp: () => view.turn(0, step), ArrowDown: () => view.turn(0, -step),
        "+": () => view.zoom(0.85), "=": () => view.zoom(0.85), "-": () => view.zoom(1 / 0.85),
        Home: () => view.look(0, 0),
    };
    canvas.addEventListener("keydown", (event) => {
        if (!keys[event.key]) return;
        event.preventDefault();
        keys[event.key]();
    });
}

function makeView(page, renderer, scene) {
    const camera = new THREE.PerspectiveCamera(60, 2, 0.1, 100);
    let asked = false;
    const view = { pan_deg: 0, tilt_deg: 0, height_deg: 60 };
    const render = () => {
        asked = false;
        camera.fov = view.height_deg;
        camera.updateProjectionMatrix();
        camera.lookAt(lookDirection(view.pan_deg, view.tilt_deg));
        renderer.render(scene, camera);
        renderer.domElement.dataset.drawn = `${view.pan_deg.toFixed(3)} ${view.tilt_deg.toFixed(3)}`;
    };
    view.refresh = () => {
        if (!asked) requestAnimationFrame(render);
        asked = true;
    };
    view.look = (pan_deg, tilt_deg) => {
        view.pan_deg = wrapped(pan_deg);
        view.tilt_deg = Math.max(-89.9, Math.min(89.9, tilt_deg));
        page.turned(view);
        view.refresh();
    };
    view.turn = (pan_deg, tilt_deg) => view.look(view.pan_deg + pan_deg, view.tilt_deg + tilt_deg);
    view.zoom = (factor) => {
        view.height_deg = Math.max(CLOSEST_DEG, Math.min(WIDEST_DEG, view.height_deg * factor));
        page.turned(view);
        view.refresh();
    };
    view.tap = (x, y) => {
        const ray = new THREE.Vector3((2 * x) / renderer.domElement.clientWidth - 1, 1 - (2 * y) / renderer.domElement.clientHeight, 0.5)
            .unproject(camera).normalize();
        view.tapped((Math.atan2(ray.z, -ray.x) * 180) / Math.PI, (Math.asin(ray.y) * 180) / Math.PI);
    };
    view.resize = (width, height) => {
        renderer.setSize(width, height, false);
        camera.aspect = width / Math.max(1, height);
        view.refresh();
    };
    return view;
}

function viewButtons(view, outlines) {
    const button = (name, label, act) => make("button", { type: "button", "aria-label": label, onclick: act }, name);
    const lines_button = make("button", { type: "button", "aria-pressed": "false", onclick: () => {
        outlines.visible = !outlines.visible;
        lines_button.setAttribute("aria-pressed", outlines.visible);
        view.refresh();
    } }, "Outlines");
    return make("div", { class: "switch" }, button("+", "Nearer", () => view.zoom(0.8)),
        button("\u2212", "Wider", () => view.zoom(1.25)), button("To pan 0", "Look to pan 0, tilt 0", () => view.look(0, 0)), lines_button);
}

function showLookAround(page, section) {
    const ready = () => { document.body.dataset.ready = "yes"; };
    if (!page.panorama) {
        ready();
        section.append(make("p", { class: "note" }, "No plate has a place, so there is no panorama yet."));
        return;
    }
    const renderer = webGlRenderer();
    if (!renderer) {
        ready();
        return showFlat(page, section);
    }
    const canvas = renderer.domElement;
    for (const [name, value] of Object.entries({ tabindex: 0, role: "application", id: "view",
        "aria-label": "Panorama. Drag or use the arrow keys to turn, plus and minus to come nearer." }))
        canvas.setAttribute(name, value);
    const pan = make("output", { id: "look-pan" }), tilt = make("output", { id: "look-tilt" }), wide = make("output", {});
    const here = make("p", { class: "here", id: "look-here", "aria-live": "polite" });
    const image = new Image();
    image.onload = () => {
        const scene = panoramaScene(image);
        const view = makeView(page, renderer, scene);
        const outlines = addOutlines(page.survey, scene);
        section.append(make("div", { class: "readout" },
            make("p", {}, "pan ", pan, " tilt ", tilt, make("span", { class: "wide" }, " view ", wide)),
            viewButtons(view, outlines)), canvas,
        here, make("p", { class: "note" }, "Drag to turn, pinch or wheel to come nearer, tap to ask which plates see it. ",
            "Pan is positive to the left. The ring on the unrolled sphere shows where you look."),
        make("img", { src: page.panorama, alt: "The panorama, flat", class: "flat for-print" }));
        page.whenTurned(() => {
            pan.textContent = `${numeral(view.pan_deg, 1)}°`;
            tilt.textContent = `${numeral(view.tilt_deg, 1)}°`;
            wide.textContent = `${numeral(view.height_deg, 0)}° high`;
        });
        view.tapped = (pan_deg, tilt_deg) => {
            const plates = platesAt(page.survey, pan_deg, tilt_deg).map((plate) => plate.index);
            here.replaceChildren(`${direction(pan_deg, tilt_deg)}: `, ...(plates.length ? plates.map(page.plateButton) : ["no plate sees it"]));
            page.tap(pan_deg, tilt_deg);
        };
        turnByFingers(view, canvas);
        turnByKeys(view, canvas);
        new ResizeObserver(() => view.resize(canvas.clientWidth, canvas.clientHeight)).observe(canvas);
        page.look = view.look;
        view.look(0, 0);
        ready();
    };
    image.src = page.panorama;
}
