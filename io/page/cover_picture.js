// How many plates see each direction, as a picture: a colour and a pattern for each count, so that
// neither colour-blind eyes nor a black-and-white print lose it. Light to dark as plates add up.

const COVER = [
    { name: "no plate", red: 226, green: 226, blue: 222 },
    { name: "one plate", red: 250, green: 226, blue: 150 },
    { name: "two", red: 134, green: 196, blue: 176 },
    { name: "three", red: 62, green: 134, blue: 184 },
    { name: "four and more", red: 40, green: 58, blue: 128 },
];

// True where the pattern's lighter or darker mark lies; period in pixels of the picture.
function patternMark(count, x, y, period) {
    const half = period / 2, thin = Math.max(1, period / 9);
    if (count === 1) return x % period < 1.6 * thin && y % period < 1.6 * thin;
    if (count === 3) return y % half < thin;
    if (count >= 4) return y % half < thin || x % half < thin;
    return false;
}

function shade(cover, mark) {
    const dark = cover.red + cover.green + cover.blue < 420;
    const by = mark ? (dark ? 44 : -78) : 0;
    return [cover.red + by, cover.green + by, cover.blue + by];
}

// `countAt(x, y)` for pixel x, y.
function paintCover(canvas, countAt, period) {
    const context = canvas.getContext("2d");
    const picture = context.createImageData(canvas.width, canvas.height);
    for (let y = 0, at = 0; y < canvas.height; ++y)
        for (let x = 0; x < canvas.width; ++x, at += 4) {
            const count = Math.min(countAt(x, y), COVER.length - 1);
            const [red, green, blue] = shade(COVER[count], patternMark(count, x, y, period));
            picture.data[at] = red;
            picture.data[at + 1] = green;
            picture.data[at + 2] = blue;
            picture.data[at + 3] = 255;
        }
    context.putImageData(picture, 0, 0);
}

function coverMap(survey) {
    const { width, height, rows } = survey.cover.map;
    return {
        width, height,
        at: (x, y) => rows[y].charCodeAt((x + width) % width) - 48,
    };
}

// Where a count's numeral has room: the middle of each region of one count, in pan and tilt, with
// how far its rim is. Distance by two chamfer sweeps (rim is wherever the count changes).
function roomyPlaces(map, least_deg) {
    const { width, height } = map, far = new Float32Array(width * height);
    const cell_deg = 360 / width;
    const same = (x, y, dx, dy) => y + dy >= 0 && y + dy < height && map.at(x + dx, y + dy) === map.at(x, y);
    const relax = (x, y, steps) => {
        let least = Infinity;
        for (const [dx, dy, length] of steps)
            least = Math.min(least, same(x, y, dx, dy)
                ? far[(y + dy) * width + (x + dx + width) % width] + length : length / 2);
        return least;
    };
    const before = [[-1, 0, 1], [0, -1, 1], [-1, -1, Math.SQRT2], [1, -1, Math.SQRT2]];
    const after = before.map(([dx, dy, length]) => [-dx, -dy, length]);
    far.fill(width);
    for (let y = 0; y < height; ++y)
        for (let x = 0; x < width; ++x) far[y * width + x] = Math.min(width, relax(x, y, before));
    for (let y = height - 1; y >= 0; --y)
        for (let x = width - 1; x >= 0; --x)
            far[y * width + x] = Math.min(far[y * width + x], relax(x, y, after));
    const places = [];
    for (let y = 0; y < height; ++y)
        for (let x = 0; x < width; ++x)
            if (far[y * width + x] * cell_deg >= least_deg && map.at(x, y) > 0)
                places.push({ pan: 180 - (x + 0.5) * cell_deg, tilt: 90 - (y + 0.5) * cell_deg,
                    count: map.at(x, y), room_deg: far[y * width + x] * cell_deg });
    places.sort((a, b) => b.room_deg - a.room_deg);
    return places;
}

function coverLegend() {
    return COVER.map((cover, count) => {
        const swatch = make("canvas", { width: 56, height: 40, class: "swatch", "aria-hidden": "true" });
        paintCover(swatch, () => count, 14);
        return make("li", { class: "counted" }, swatch, count ? `×${count}${count === 4 ? "+" : ""} ` : "", cover.name);
    });
}
