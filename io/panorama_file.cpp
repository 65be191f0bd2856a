#include "io/panorama_file.h"

#include <algorithm>
#include <cassert>
#include <string>
#include <vector>

#include "io/file_name.h"
#include "io/half_rows.h"
#include "io/input_error.h"
#include "io/written_file.h"

namespace plateloom::io {

struct PanoramaWriter::State {
    WrittenFile file;
    Format format;
    bool halves = false;
    size_t beyond_half = 0;
    std::vector<uint16_t> half_samples;
    std::vector<float> samples;

    explicit State(const std::filesystem::path& path) : file(path) {}
};

namespace {

void checkFormat(const std::filesystem::path& path) {
    if (isExrName(path) || isTiffName(path)) return;
    throw InputError(path.string(),
                     "a panorama is written as .exr or .tif: give the file one of "
                     "these extensions");
}

OIIO::ImageSpec specOf(const std::string& file_format, const PanoramaWriter::Format& format,
                       const PictureTags& tags) {
    OIIO::ImageSpec spec(format.width, format.height, format.alpha ? 4 : 3,
                         format.half ? OIIO::TypeHalf : OIIO::TypeFloat);
    spec.tile_width = spec.tile_height = format.tile;
    spec.tile_depth = 1;
    addTags(tags, file_format, spec);
    addMark(Made::panorama, file_format, spec);
    if (file_format == "openexr") {
        // Measured on 8192 x 4096 half R G B A with a sensor's noise, processor seconds and MB:
        // level 1: 3.7 and 123, level 2: 4.6 and 122, level 4: 4.3 and 119, level 6: 8.2 and 118.
        spec.attribute("compression", "zip:1");
        // Tiles go to disk as they come; in any other order the library would hold them back.
        spec.attribute("openexr:lineOrder", "randomY");
    } else {
        spec.attribute("compression", "zip");
        spec.attribute("tiff:zipquality", 1);
        if (format.half) spec.attribute("tiff:half", 1);
        // A classic TIFF ends at 4 GiB; compression may not help.
        constexpr OIIO::imagesize_t kClassicTiff = OIIO::imagesize_t(4) << 30;
        if (spec.image_bytes() > kClassicTiff / 10 * 9) spec.attribute("tiff:bigtiff", 1);
    }
    return spec;
}

}  // namespace

PanoramaWriter::PanoramaWriter(const std::filesystem::path& path, const Format& format,
                               const PictureTags& tags) {
    checkFormat(path);
    state_ = std::make_unique<State>(path);
    state_->format = format;
    state_->halves = format.half;
    state_->file.open(specOf(state_->file.format(), format, tags));
}

PanoramaWriter::~PanoramaWriter() = default;

void PanoramaWriter::write(int x, int y, const Picture& picture) {
    State& state = *state_;
    const Format& format = state.format;
    assert(picture.channels == 4 && x % format.tile == 0 && y % format.tile == 0);
    assert(x + picture.width == format.width || picture.width % format.tile == 0);
    assert(y + picture.height == format.height || picture.height % format.tile == 0);

    const int channels = format.alpha ? 4 : 3;
    const size_t pixels = size_t(picture.width) * picture.height;
    const float* samples = picture.data.data();
    if (channels == 3) {
        state.samples.resize(pixels * 3);
        for (size_t i = 0; i < pixels; ++i) {
            std::copy_n(&picture.data[4 * i], 3, &state.samples[3 * i]);
        }
        samples = state.samples.data();
    }
    OIIO::TypeDesc type = OIIO::TypeFloat;
    const void* out = samples;
    if (state.halves) {
        state.half_samples.resize(pixels * size_t(channels));
        state.beyond_half +=
            halvesFromFloats(samples, state.half_samples.size(), state.half_samples.data());
        type = OIIO::TypeHalf;
        out = state.half_samples.data();
    }
    state.file.check(state.file.output().write_tiles(x, x + picture.width, y, y + picture.height, 0,
                                                     1, type, out));
}

size_t PanoramaWriter::beyondHalf() const {
    return state_->beyond_half;
}

void PanoramaWriter::finish() {
    state_->file.finish();
}

}  // namespace plateloom::io
