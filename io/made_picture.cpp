#include "io/made_picture.h"

#include <OpenImageIO/imageio.h>

#include <algorithm>
#include <memory>
#include <vector>

namespace plateloom::io {

namespace {

// The picture at `path`, opened, if it was made by this recipe.
std::unique_ptr<OIIO::ImageInput> openMade(const std::filesystem::path& path,
                                           const std::string& recipe, OIIO::ImageSpec* spec) {
    if (!std::filesystem::exists(path)) return nullptr;
    auto input = OIIO::ImageInput::create("openexr");
    if (!input || !input->open(path.string(), *spec)) return nullptr;
    if (spec->nchannels != 4 || spec->get_string_attribute("plateloom:recipe") != recipe)
        return nullptr;
    return input;
}

}  // namespace

std::optional<Picture> readMade(const std::filesystem::path& path, const std::string& recipe) {
    OIIO::ImageSpec spec;
    const auto input = openMade(path, recipe, &spec);
    if (!input) return std::nullopt;
    Picture picture(spec.width, spec.height, 4);
    if (!input->read_image(0, 0, 0, 4, OIIO::TypeFloat, picture.data.data())) {
        (void)input->geterror();
        return std::nullopt;
    }
    return picture;
}

bool isMade(const std::filesystem::path& path, const std::string& recipe) {
    OIIO::ImageSpec spec;
    const auto input = openMade(path, recipe, &spec);
    if (!input) return false;
    const int rows = spec.tile_width > 0 ? spec.tile_height : 64;
    std::vector<uint16_t> row(size_t(spec.width) * size_t(rows) * 4);
    for (int y = 0; y < spec.height; y += rows) {
        const int end = std::min(spec.height, y + rows);
        const bool read =
            spec.tile_width > 0
                ? input->read_tiles(0, 0, spec.x, spec.x + spec.width, spec.y + y, spec.y + end, 0,
                                    1, 0, 4, OIIO::TypeHalf, row.data())
                : input->read_scanlines(0, 0, spec.y + y, spec.y + end, 0, 0, 4, OIIO::TypeHalf,
                                        row.data());
        if (!read) {
            (void)input->geterror();
            return false;
        }
    }
    return true;
}

}  // namespace plateloom::io
