#include "io/panorama_reader.h"

#include <OpenImageIO/imagecache.h>

#include <algorithm>
#include <cstdio>
#include <mutex>
#include <unordered_set>
#include <vector>

#include "io/hole.h"
#include "io/input_error.h"
#include "io/made_mark.h"
#include "io/picture_source.h"
#include "io/plate_rows.h"

namespace plateloom::io {

namespace {

constexpr const char* kCylinderWords =
    "cylindrical panorama: pan 180 to -180, tan(tilt) %.17g to %.17g";

// Rows of a file without tiles that are read together. Small enough that a strip right round a
// large panorama is a few MB, a multiple of what OpenEXR compresses together.
constexpr int kStripRows = 64;

int wrapped(int x, int period) {
    const int rest = x % period;
    return rest < 0 ? rest + period : rest;
}

bool saysLatlong(const PictureSource& source) {
    return source.spec.get_string_attribute("textureformat") == "LatLong Environment";
}

PanoramaFile describe(const PictureSource& source, const PlateFile& plate) {
    PanoramaFile file;
    file.path = plate.path;
    file.width = source.spec.full_width;
    file.height = source.spec.full_height;
    file.latlong = saysLatlong(source);
    file.cylinder = cylinderOf(source.spec.get_string_attribute("ImageDescription"));
    file.samples_on_border =
        source.kind != FileKind::exr && source.spec.get_int_attribute("oiio:sampleborder", 0) != 0;
    file.needs_float = plate.needs_float;
    file.colour_space = plate.colour_space;
    file.tags.chromaticities = plate.chromaticities;
    file.tags.pixel_aspect = plate.pixel_aspect;
    file.tags.colour_space = "scene_linear";
    return file;
}

}  // namespace

std::string describeCylinder(const CylinderBand& band) {
    char text[160];
    std::snprintf(text, sizeof text, kCylinderWords, band.top_tan, band.bottom_tan);
    return text;
}

std::optional<CylinderBand> cylinderOf(const std::string& description) {
    CylinderBand band;
    if (std::sscanf(description.c_str(),
                    "cylindrical panorama: pan 180 to -180, tan(tilt) %lf to %lf", &band.top_tan,
                    &band.bottom_tan) != 2 ||
        !(band.top_tan > band.bottom_tan))
        return std::nullopt;
    return band;
}

std::string notAPlate(const PictureSource& source) {
    const OIIO::ImageSpec& spec = source.spec;
    const std::string description = spec.get_string_attribute("ImageDescription");
    if (saysLatlong(source) || cylinderOf(description)) return "a panorama";
    const auto kind =
        markedKind(std::string(spec.get_string_attribute("plateloom:made")) + " " +
                   std::string(spec.get_string_attribute("Software")) + " " + description);
    if (kind == Made::panorama) return "a panorama";
    if (kind == Made::preview || kind == Made::sheet) return "a preview";
    if (kind == Made::seams) return "a picture of seams";
    if (kind == Made::map) return "a map";
    return "";
}

// What one reading thread needs for itself.
struct Scratch {
    std::unique_ptr<RowConverter> rows;
    std::vector<char> samples;
    // The library's own such thing hangs on the thread and outlives the cache.
    OIIO::ImageCache::Perthread* latest_tiles = nullptr;
};

struct PanoramaReader::State {
    struct CacheDeleter {
        void operator()(OIIO::ImageCache* cache) const { OIIO::ImageCache::destroy(cache, true); }
    };
    PictureSource source;
    PanoramaFile file;
    std::unique_ptr<OIIO::ImageCache, CacheDeleter> cache;
    OIIO::ImageCache::ImageHandle* handle = nullptr;
    bool with_alpha = true;
    std::mutex lending;
    // Pixels are read again and again: those that were not finite, each once.
    std::mutex counting;
    std::unordered_set<uint64_t> bad_pixels;
    std::vector<std::unique_ptr<Scratch>> idle;

    ~State() {
        for (auto& scratch : idle) cache->destroy_thread_info(scratch->latest_tiles);
    }

    std::unique_ptr<Scratch> borrow() {
        {
            const std::lock_guard lock(lending);
            if (!idle.empty()) {
                auto scratch = std::move(idle.back());
                idle.pop_back();
                return scratch;
            }
        }
        auto scratch = std::make_unique<Scratch>();
        scratch->rows = std::make_unique<RowConverter>(source, file.colour_space, with_alpha,
                                                       !file.needs_float);
        scratch->latest_tiles = cache->create_thread_info();
        return scratch;
    }
    // Of a row that holds some. So many that they are beyond counting stay uncounted.
    template <class Value>
    void addBadPixels(int x, int y, const Value* rgba, size_t count, Value brightest) {
        constexpr size_t kMost = 1 << 20;
        const std::lock_guard lock(counting);
        for (size_t i = 0; i < count && bad_pixels.size() < kMost; ++i) {
            const Value* pixel = rgba + 4 * i;
            if (isHole(pixel[3]) || std::find(pixel, pixel + 3, brightest) != pixel + 3)
                bad_pixels.insert(uint64_t(y) << 32 | uint64_t(x + int(i)));
        }
    }
    void giveBack(std::unique_ptr<Scratch> scratch) {
        const std::lock_guard lock(lending);
        idle.push_back(std::move(scratch));
    }
};

// Given back whatever happens.
class Loan {
public:
    explicit Loan(PanoramaReader::State& state) : state_(state), scratch_(state.borrow()) {}
    ~Loan() { state_.giveBack(std::move(scratch_)); }
    Loan(const Loan&) = delete;
    Loan& operator=(const Loan&) = delete;
    Scratch* operator->() { return scratch_.get(); }

private:
    PanoramaReader::State& state_;
    std::unique_ptr<Scratch> scratch_;
};

namespace {

// A rectangle that lies within the panorama, and where its corner goes in the result.
struct Part {
    int x = 0, y = 0, width = 0, height = 0;
    int to_x = 0, to_y = 0;
    bool upside_down = false;  // its rows go upward from to_y: it lies beyond a pole
};

void addRound(std::vector<Part>& parts, const Part& whole, int panorama_width) {
    for (int done = 0; done < whole.width;) {
        Part part = whole;
        part.x = wrapped(whole.x + done, panorama_width);
        part.width = std::min(whole.width - done, panorama_width - part.x);
        part.to_x = done;
        parts.push_back(part);
        done += part.width;
    }
}

// Rows [begin, end) of the request, counted from the panorama's top.
std::vector<Part> partsOf(int x, int y, int width, int height, bool over_poles,
                          const PanoramaFile& file) {
    std::vector<Part> parts;
    const int begin = std::max(y, 0), end = std::min(y + height, file.height);
    if (begin < end)
        addRound(parts, {x, begin, width, end - begin, 0, begin - y, false}, file.width);
    if (!over_poles) return parts;
    const int across = x + file.width / 2;
    // Beyond the top: row -1 is row 0 seen from the other side, and so on.
    const int above = std::min(std::min(0, y + height) - y, file.height);
    if (above > 0) {
        const int nearest = y + height < 0 ? -(y + height) : 0;
        const int rows = std::min(above, file.height - nearest);
        if (rows > 0)
            addRound(parts,
                     {across, nearest, width, rows, 0, std::min(-1, y + height - 1) - y, true},
                     file.width);
    }
    const int first_below = std::max(y, file.height), past = y + height;
    if (first_below < past) {
        const int farthest = 2 * file.height - 1 - first_below;  // its mirrored row
        const int rows = std::min(past - first_below, farthest + 1);
        if (rows > 0)
            addRound(
                parts,
                {across, farthest - rows + 1, width, rows, 0, first_below - y + rows - 1, true},
                file.width);
    }
    return parts;
}

// Whether alpha is above 0 anywhere. Looked for from the horizon outward, a block at a time: nearly
// always the first one answers.
bool anyCovered(PanoramaReader::State& state) {
    constexpr int kBlock = 64;
    const OIIO::ImageSpec& spec = state.source.spec;
    const int alpha = state.source.channel[3], down = (spec.height + kBlock - 1) / kBlock;
    std::vector<float> block;
    for (int k = 0; k < down; ++k) {
        const int row = down / 2 + (k % 2 ? (k + 1) / 2 : -k / 2);
        const int y0 = spec.y + ((row % down) + down) % down * kBlock;
        const int y1 = std::min(y0 + kBlock, spec.y + spec.height);
        for (int x0 = spec.x; x0 < spec.x + spec.width; x0 += kBlock) {
            const int x1 = std::min(x0 + kBlock, spec.x + spec.width);
            block.assign(size_t(x1 - x0) * size_t(y1 - y0), 0.0f);
            // What can't be read is told when a view needs it.
            if (!state.cache->get_pixels(state.handle, nullptr, state.source.part, 0, x0, x1, y0,
                                         y1, 0, 1, alpha, alpha + 1, OIIO::TypeFloat,
                                         block.data())) {
                (void)state.cache->geterror();
                return true;
            }
            if (std::any_of(block.begin(), block.end(), [](float a) { return a > 0; })) return true;
        }
    }
    return false;
}

}  // namespace

PanoramaReader::PanoramaReader(const std::filesystem::path& path, const std::string& colour_space,
                               size_t cache_bytes)
    : state_(std::make_unique<State>()) {
    const PlateFile plate = readPlateHeader(path, colour_space);
    state_->source = openPicture(path);
    if (!state_->source.orientation.isNone())
        throw InputError(path.string(),
                         "this panorama is stored turned or mirrored (its Orientation): save it "
                         "upright first");
    state_->file = describe(state_->source, plate);
    state_->source.input->close();
    state_->cache.reset(OIIO::ImageCache::create(false));
    state_->cache->attribute("max_memory_MB", float(cache_bytes) / float(1 << 20));
    state_->cache->attribute("autotile", kStripRows);
    // Alpha is associated here after linearising, never before.
    state_->cache->attribute("unassociatedalpha", 1);
    state_->handle = state_->cache->get_image_handle(OIIO::ustring(path.string()));
    // As with plates, an alpha of nothing but zeros says nothing: the picture counts.
    state_->with_alpha = state_->source.channel[3] < 0 || anyCovered(*state_);
    // Throws for a colour space that is not known, before any thread asks.
    state_->giveBack(state_->borrow());
}

PanoramaReader::~PanoramaReader() = default;

const PanoramaFile& PanoramaReader::file() const {
    return state_->file;
}

size_t PanoramaReader::badPixels() const {
    const std::lock_guard lock(state_->counting);
    return state_->bad_pixels.size();
}

void PanoramaReader::read(int x, int y, int width, int height, bool over_poles,
                          PlatePixels& pixels) const {
    State& state = *state_;
    const PanoramaFile& file = state.file;
    const OIIO::ImageSpec& spec = state.source.spec;
    const size_t values = size_t(width) * height * 4;
    pixels.width = width;
    pixels.height = height;
    pixels.half.assign(file.needs_float ? 0 : values, 0);
    pixels.full.assign(file.needs_float ? values : 0, 0.0f);

    Loan scratch(state);
    RowConverter& rows = *scratch->rows;
    const int channel_end = rows.span().first + rows.span().count;
    const size_t pixel_bytes = rows.readAs().size() * size_t(rows.span().count);
    bool covered = false;
    for (const Part& part : partsOf(x, y, width, height, over_poles, file)) {
        // Within the data window; the rest stays uncovered.
        const int x0 = std::max(part.x + spec.full_x, spec.x);
        const int x1 = std::min(part.x + part.width + spec.full_x, spec.x + spec.width);
        const int y0 = std::max(part.y + spec.full_y, spec.y);
        const int y1 = std::min(part.y + part.height + spec.full_y, spec.y + spec.height);
        if (x0 >= x1 || y0 >= y1) continue;
        const auto count = size_t(x1 - x0);
        scratch->samples.resize(size_t(y1 - y0) * count * pixel_bytes);
        if (!state.cache->get_pixels(state.handle, scratch->latest_tiles, state.source.part, 0, x0,
                                     x1, y0, y1, 0, 1, rows.span().first, channel_end,
                                     rows.readAs(), scratch->samples.data())) {
            throwIfNoMemory(file.path, state.cache->geterror());
            throw InputError(file.path.string(),
                             "is damaged or cut short: pixels " + std::to_string(part.x) + ", " +
                                 std::to_string(part.y) + " to " +
                                 std::to_string(part.x + part.width - 1) + ", " +
                                 std::to_string(part.y + part.height - 1) +
                                 " can't be read; copy the file again");
        }
        for (int row = y0; row < y1; ++row) {
            const int in_part = row - spec.full_y - part.y;
            const int to_row = part.upside_down ? part.to_y - in_part : part.to_y + in_part;
            const size_t to =
                (size_t(to_row) * width + part.to_x + (x0 - spec.full_x - part.x)) * 4;
            const char* samples = &scratch->samples[size_t(row - y0) * count * pixel_bytes];
            const NotFinite found = file.needs_float
                                        ? rows.toFloats(samples, count, &pixels.full[to], covered)
                                        : rows.toHalves(samples, count, &pixels.half[to], covered);
            if (found.holes + found.infinite == 0) continue;
            if (file.needs_float)
                state.addBadPixels(x0, row, &pixels.full[to], count, kBrightest);
            else
                state.addBadPixels(x0, row, &pixels.half[to], count, kHalfBrightest);
        }
    }
}

}  // namespace plateloom::io
