#include "io/finished_frame.h"

#include <OpenImageIO/imageio.h>

#include <vector>

namespace plateloom::io {

bool isFinished(const std::filesystem::path& path, const std::string& recipe) {
    std::error_code none;
    if (!std::filesystem::is_regular_file(path, none)) return false;
    const auto input = OIIO::ImageInput::open(path.string());
    if (!input) {
        (void)OIIO::geterror();
        return false;
    }
    if (input->spec().get_string_attribute("plateloom:recipe") != recipe) return false;
    int last = 0;
    while (input->seek_subimage(last + 1, 0)) ++last;
    (void)input->geterror();
    const OIIO::ImageSpec spec = input->spec(last);
    std::vector<char> row(spec.scanline_bytes(true));
    const int y = spec.y + spec.height - 1;
    const bool read = input->read_scanlines(last, 0, y, y + 1, 0, 0, spec.nchannels,
                                            OIIO::TypeUnknown, row.data());
    (void)input->geterror();
    return read;
}

}  // namespace plateloom::io
