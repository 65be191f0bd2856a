#include "io/made_picture.h"

#include <OpenImageIO/imageio.h>

namespace plateloom::io {

std::optional<Picture> readMade(const std::filesystem::path& path, const std::string& recipe) {
    if (!std::filesystem::exists(path)) return std::nullopt;
    auto input = OIIO::ImageInput::create("openexr");
    OIIO::ImageSpec spec;
    if (!input || !input->open(path.string(), spec)) return std::nullopt;
    if (spec.nchannels != 4 || spec.get_string_attribute("plateloom:recipe") != recipe)
        return std::nullopt;
    Picture picture(spec.width, spec.height, 4);
    if (!input->read_image(0, 0, 0, 4, OIIO::TypeFloat, picture.data.data())) {
        (void)input->geterror();
        return std::nullopt;
    }
    return picture;
}

}  // namespace plateloom::io
