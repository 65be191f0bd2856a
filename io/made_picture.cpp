#include "io/made_picture.h"

#include <OpenImageIO/imageio.h>

#include <algorithm>
#include <memory>
#include <vector>

#include "io/written_file.h"

namespace plateloom::io {

namespace {

std::unique_ptr<OIIO::ImageInput> openExr(const std::filesystem::path& path) {
    std::error_code error;
    if (!std::filesystem::is_regular_file(path, error)) return nullptr;
    auto input = OIIO::ImageInput::create("openexr");
    OIIO::ImageSpec spec;
    if (input && input->open(path.string(), spec)) return input;
    if (input) (void)input->geterror();
    return nullptr;
}

// The file at `path`, opened, if it was made by this recipe.
std::unique_ptr<OIIO::ImageInput> openMade(const std::filesystem::path& path,
                                           const std::string& recipe) {
    auto input = openExr(path);
    if (!input || input->spec().get_string_attribute("plateloom:recipe") != recipe) return nullptr;
    return input;
}

// Every sample of one part, as it is stored, a band at a time.
bool readsThrough(OIIO::ImageInput& input, int part) {
    const OIIO::ImageSpec spec = input.spec(part);
    constexpr int kBandRows = 64;
    const int rows = spec.tile_width > 0 ? spec.tile_height : kBandRows;
    std::vector<char> band(spec.scanline_bytes(true) * size_t(rows));
    for (int y = 0; y < spec.height; y += rows) {
        const int from = spec.y + y, to = spec.y + std::min(spec.height, y + rows);
        const bool read =
            spec.tile_width > 0
                ? input.read_tiles(part, 0, spec.x, spec.x + spec.width, from, to, 0, 1, 0,
                                   spec.nchannels, OIIO::TypeUnknown, band.data())
                : input.read_scanlines(part, 0, from, to, 0, 0, spec.nchannels, OIIO::TypeUnknown,
                                       band.data());
        if (!read) return false;
    }
    return true;
}

}  // namespace

std::optional<Picture> readMade(const std::filesystem::path& path, const std::string& recipe) {
    const auto input = openMade(path, recipe);
    if (!input || input->spec().nchannels != 4) return std::nullopt;
    Picture picture(input->spec().width, input->spec().height, 4);
    if (!input->read_image(0, 0, 0, 4, OIIO::TypeFloat, picture.data.data())) {
        (void)input->geterror();
        return std::nullopt;
    }
    return picture;
}

std::string recipeOf(const std::filesystem::path& path) {
    const auto input = openExr(path);
    return input ? std::string(input->spec().get_string_attribute("plateloom:recipe")) : "";
}

bool isMade(const std::filesystem::path& path, const std::string& recipe, std::string* found) {
    const auto input = openMade(path, recipe);
    if (!input) return false;
    if (found) *found = input->spec().get_string_attribute(kFoundAttribute);
    bool whole = true;
    for (int part = 0; whole && input->seek_subimage(part, 0); ++part)
        whole = readsThrough(*input, part);
    (void)input->geterror();
    return whole;
}

}  // namespace plateloom::io
