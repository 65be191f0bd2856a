#include <algorithm>
#include <cstring>
#include <vector>

#include "io/half_rows.h"
#include "io/made_picture.h"
#include "io/plate_file.h"
#include "io/written_file.h"

namespace plateloom::io {

namespace {

constexpr int kWriteRows = 256;

OIIO::TypeDesc sampleType(const std::string& format, bool half, bool for_display) {
    if (format == "png" || format == "jpeg") return OIIO::TypeUInt8;
    if (!half) return OIIO::TypeFloat;
    // Sixteen bits of TIFF: code values for display, halves for light, which goes above 1.
    return format == "tiff" && for_display ? OIIO::TypeUInt16 : OIIO::TypeHalf;
}

OIIO::ImageSpec specOf(const std::string& format, const Picture& picture, const PictureTags& tags,
                       bool half, const DataWindow& window, std::optional<Made> kind) {
    const bool for_display = !tags.colour_space.empty() && tags.colour_space != "scene_linear";
    // JPEG has no alpha; colour times coverage is the picture over black.
    const int channels = format == "jpeg" ? (picture.channels < 3 ? 1 : 3) : picture.channels;
    OIIO::ImageSpec spec(picture.width, picture.height, channels,
                         sampleType(format, half, for_display));
    // Only OpenEXR knows a data window apart from the display window.
    if (format == "openexr") {
        spec.x = window.x;
        spec.y = window.y;
        if (window.display_width > 0) spec.full_width = window.display_width;
        if (window.display_height > 0) spec.full_height = window.display_height;
    }
    addTags(tags, format, spec);
    if (kind) addMark(*kind, format, spec);
    if (format == "png" || format == "jpeg") {
        spec.attribute("oiio:ColorSpace", tags.colour_space.empty() ? "sRGB" : tags.colour_space);
    }
    if (format == "jpeg") spec.attribute("Compression", "jpeg:92");
    if (format == "openexr") spec.attribute("compression", "zip");
    if (format == "tiff") {
        spec.attribute("compression", "zip");
        if (spec.format == OIIO::TypeHalf) spec.attribute("tiff:half", 1);
    }
    return spec;
}

std::unique_ptr<NewFile> writeBeside(const std::filesystem::path& path, const Picture& picture,
                                     const PictureTags& tags, bool half, const DataWindow& window,
                                     std::optional<Made> kind) {
    WrittenFile file(path);
    const OIIO::ImageSpec spec = specOf(file.format(), picture, tags, half, window, kind);
    file.open(spec);
    const bool halves = spec.format == OIIO::TypeHalf;
    std::vector<uint16_t> band;
    for (int y = 0; y < picture.height; y += kWriteRows) {
        const int end = std::min(y + kWriteRows, picture.height);
        const float* rows = picture.at(0, y);
        const size_t values = size_t(end - y) * picture.width * picture.channels;
        // Halves are made here: the library's own would turn what is too bright into infinity.
        if (halves) {
            band.resize(values);
            halvesFromFloats(rows, values, band.data());
        }
        const OIIO::TypeDesc type = halves ? OIIO::TypeHalf : OIIO::TypeFloat;
        const void* samples = halves ? static_cast<const void*>(band.data()) : rows;
        file.check(file.output().write_scanlines(spec.y + y, spec.y + end, 0, type, samples,
                                                 OIIO::stride_t(picture.channels * type.size())));
    }
    return file.close();
}

}  // namespace

void writePicture(const std::filesystem::path& path, const Picture& picture,
                  const PictureTags& tags, bool half, const DataWindow& window) {
    writeBeside(path, picture, tags, half, window, std::nullopt)->commit();
}

std::unique_ptr<NewFile> writeMadeBeside(const std::filesystem::path& path, const Picture& picture,
                                         const PictureTags& tags, bool half,
                                         const DataWindow& window, Made kind) {
    return writeBeside(path, picture, tags, half, window, kind);
}

void writeMade(const std::filesystem::path& path, const Picture& picture, const PictureTags& tags,
               bool half, const DataWindow& window, Made kind) {
    writeBeside(path, picture, tags, half, window, kind)->commit();
}

}  // namespace plateloom::io
