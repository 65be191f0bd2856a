#include <cmath>
#include <cstdlib>
#include <string>

#include "io/camera_metadata.h"
#include "io/code_range.h"
#include "io/colour.h"
#include "io/input_error.h"
#include "io/panorama_reader.h"
#include "io/picture_source.h"
#include "io/plate_file.h"

namespace plateloom::io {

namespace {

// DPX (SMPTE ST 268-1) states its transfer characteristic; only light and the BT.709 family say
// which light a code value stands for.
std::string dpxColourSpace(const std::filesystem::path& path, const OIIO::ImageSpec& spec) {
    const std::string transfer = spec.get_string_attribute("dpx:Transfer");
    if (isLinearDpx(spec)) return "scene_linear";
    if (isVideoDpx(spec)) return "Rec.709";
    throw InputError(path.string(),
                     "its transfer characteristic is \"" + (transfer.empty() ? "unset" : transfer) +
                         "\", which does not say how code values become light: give --colour-space "
                         "(scene_linear, Rec.709, sRGB, ACEScct, ACEScc, or a name from $OCIO's "
                         "configuration)");
}

std::string colourSpaceOf(const std::filesystem::path& path, const PictureSource& source) {
    if (source.kind == FileKind::dpx) return dpxColourSpace(path, source.spec);
    if (source.kind == FileKind::movie) return "Rec.709";
    const std::string said = source.spec.get_string_attribute("oiio:ColorSpace");
    if (said.starts_with("GammaCorrected")) {
        // A PNG's gAMA chunk. (One that says it is sRGB as well has been named so by now.)
        const float gamma = source.spec.get_float_attribute("oiio:Gamma", 2.2f);
        constexpr float kRounding = 0.01f;
        for (const char* known : {"1.8", "2.2", "2.4", "2.6"}) {
            if (std::abs(gamma - std::strtof(known, nullptr)) < kRounding) {
                return std::string("Gamma ") + known;
            }
        }
        if (std::abs(gamma - 1.0f) < kRounding) return "scene_linear";
        throw InputError(path.string(), "says its code values have gamma " + std::to_string(gamma) +
                                            ", which is not known here: give --colour-space");
    }
    if (said == "Linear") return "scene_linear";
    if (!said.empty()) return said;
    return source.isFloating() ? "scene_linear" : "sRGB";
}

void readTimecode(const OIIO::ImageSpec& spec, PlateFile& file) {
    const auto* found = spec.find_attribute("smpte:TimeCode");
    if (!found || found->type() != OIIO::TypeTimeCode) return;
    const auto* words = static_cast<const uint32_t*>(found->data());
    // A header may hold the attribute without a time in it: all bits set means undefined (ST 268).
    if (words[0] == 0xffffffffu) return;
    file.timecode_word = words[0];
    file.timecode_user = words[1];
}

// As a movie's metadata write it: "01:00:00:00". A movie without a rate has no use for it.
void readMovieTimecode(const OIIO::ImageSpec& spec, PlateFile& file) {
    if (!file.frame_rate) return;
    for (const char* name : {"ffmpeg:TimeCode", "timecode", "TIMECODE"}) {
        const auto timecode = parseTimecode(std::string(spec.get_string_attribute(name)));
        if (!timecode || !exists(*timecode, *file.frame_rate)) continue;
        file.timecode_word = smpteWord(*timecode, file.frame_rate);
        file.timecode_user = 0;
        return;
    }
}

std::optional<Chromaticities> statedChromaticities(const OIIO::ImageSpec& spec) {
    const auto* found = spec.find_attribute("chromaticities");
    if (!found || found->type().basetype != OIIO::TypeDesc::FLOAT) return std::nullopt;
    const int count = int(found->type().basevalues()) * found->nvalues();
    if (count != 8) return std::nullopt;
    const auto* values = static_cast<const float*>(found->data());
    return Chromaticities(values, values + 8);
}

// Of the pixels once they are linear: what the file says holds until a conversion changes it or
// somebody says otherwise.
std::optional<Chromaticities> linearChromaticities(const OIIO::ImageSpec& spec,
                                                   const std::string& colour_space,
                                                   bool said_by_user) {
    const auto stated = statedChromaticities(spec);
    const LinearPrimaries linear = linearPrimaries(colour_space);
    if (linear.kind == LinearPrimaries::unknown) return std::nullopt;
    if (linear.kind == LinearPrimaries::as_before) return stated;
    return stated && !linear.converted && !said_by_user ? stated : linear.chromaticities;
}

double pixelAspectOf(const PictureSource& source) {
    const double aspect = double(source.spec.get_float_attribute("PixelAspectRatio", 1.0f));
    if (!std::isfinite(aspect) || !(aspect > 0)) return 1;
    return source.orientation.swaps ? 1 / aspect : aspect;
}

}  // namespace

PlateFile readPlateHeader(const std::filesystem::path& path, const std::string& colour_space) {
    const PictureSource source = openPicture(path);
    PlateFile file;
    file.path = path;
    if (source.kind == FileKind::movie) file.movie_frame = 1;
    file.width = source.uprightWidth();
    file.height = source.uprightHeight();
    file.colour_space = colour_space.empty() ? colourSpaceOf(path, source) : colour_space;
    // A name that nobody knows is refused now, not when the first pixels are wanted.
    try {
        (void)Linearization(file.colour_space);
    } catch (const InputError& error) {
        throw InputError(path.string(), error.what());
    }
    const OIIO::TypeDesc type = source.type();
    file.needs_float = type.basetype == OIIO::TypeDesc::FLOAT ||
                       type.basetype == OIIO::TypeDesc::DOUBLE || type.size() > 2;
    file.chromaticities =
        linearChromaticities(source.spec, file.colour_space, !colour_space.empty());
    file.pixel_aspect = pixelAspectOf(source);
    readTimecode(source.spec, file);
    readCameraMetadata(source, file);
    file.not_a_plate = notAPlate(source);
    if (source.orientation.swaps && source.orientation.mirrors_x != source.orientation.mirrors_y)
        file.quarter_turn = source.orientation.mirrors_x ? 1 : -1;
    if (source.kind == FileKind::movie) readMovieTimecode(source.spec, file);
    return file;
}

PlateFile movieFrame(const PlateFile& first, int frame) {
    PlateFile file = first;
    file.movie_frame = frame;
    if (const auto start = first.timecode(); start && first.frame_rate) {
        const FrameRate& rate = *first.frame_rate;
        const int64_t number = frameNumber(*start, rate) + frame - first.movie_frame;
        file.timecode_word = smpteWord(timecodeOf(number, rate, start->drop_frame), rate);
    }
    return file;
}

std::string PlateFile::name() const {
    const std::string file = path.filename().string();
    return movie_frame > 0 ? file + " frame " + std::to_string(movie_frame) : file;
}

std::string PlateFile::where() const {
    return movie_frame > 0 ? path.string() + " frame " + std::to_string(movie_frame)
                           : path.string();
}

PictureTags tagsOf(const PlateFile& file) {
    PictureTags tags;
    tags.chromaticities = file.chromaticities;
    tags.pixel_aspect = file.pixel_aspect;
    tags.timecode_word = file.timecode_word;
    tags.timecode_user = file.timecode_user;
    tags.frame_rate = file.frame_rate;
    tags.colour_space = "scene_linear";
    return tags;
}

}  // namespace plateloom::io
