// Plates on disk, through OpenImageIO: EXR half and float (tiled or scanline, any compression, data
// window unlike display window), TIFF, DPX, PNG, JPEG. Scene-linear on the way in, through
// OpenColorIO.
//
// The plate's picture is its display window: pixel (0, 0) is the display window's corner and the
// sensor's active area is laid over exactly that. A data window inside it leaves pixels with A = 0;
// one beyond it is cropped (overscan was not recorded by this sensor).
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/picture.h"
#include "io/primaries.h"
#include "io/timecode.h"

namespace plateloom::io {

/// What the file says about itself, without its pixels.
struct PlateFile {
    std::filesystem::path path;
    int movie_frame = -1;       ///< of a movie: which of its frames, the first is 1; else -1
    int width = 0, height = 0;  ///< display window
    std::string colour_space;  ///< as found ("scene_linear", "sRGB", "Rec.709"...), see io/colour.h
    bool needs_float = false;  ///< the file holds 32-bit float: keep it so
    /// Of the linear light that readPlatePixels hands over; none where nobody says.
    std::optional<Chromaticities> chromaticities;
    /// Row by row: what the pixels are multiplied by, so that a job has one set of primaries.
    std::optional<std::array<float, 9>> to_working;
    double pixel_aspect = 1;  ///< width of a pixel over its height, as the file says it
    std::optional<uint32_t> timecode_word, timecode_user;  ///< EXR timeCode, as it was
    std::optional<FrameRate> frame_rate;                   ///< EXR framesPerSecond
    std::optional<double> focal_mm, focal_35mm_equivalent, sensor_width_mm;
    std::optional<double> focus_m, f_stop, t_stop, iso, shutter_s, shutter_deg;
    /// By which the picture was turned upright after it was recorded, as the file says: 1 a quarter
    /// clockwise, -1 a quarter counterclockwise, 0 neither.
    int quarter_turn = 0;
    std::string camera;  ///< make, model and lens joined: plates that share it share a lens
    std::string clip;    ///< clip or reel name, else the file's stem
    /// What the file says that it is instead of a plate: "a panorama", "a preview"; "" for a plate.
    std::string not_a_plate;

    [[nodiscard]] std::optional<Timecode> timecode() const {
        if (!timecode_word) return std::nullopt;
        return timecodeFromSmpteWord(*timecode_word, frame_rate);
    }
    /// "cam1.1001.exr", or "cam1.mov frame 12": the picture's name in messages.
    [[nodiscard]] std::string name() const;
    /// The same with its folder.
    [[nodiscard]] std::string where() const;
};

/// Reads the header only. `colour_space` overrides what the file says ("" leaves it). Throws
/// InputError for a missing, empty, damaged or unsupported file, or one without pictures (fewer
/// than 1 channel). A movie's is that of its first frame: Rec.709 unless said otherwise, the
/// timecode as the movie's metadata says it.
[[nodiscard]] PlateFile readPlateHeader(const std::filesystem::path& path,
                                        const std::string& colour_space = "");

/// A frame of a movie, from its first one's header: read once, counted from there.
[[nodiscard]] PlateFile movieFrame(const PlateFile& first, int frame);

/// Reads the pixels, linear. One channel is spread over RGB; a second or fourth is alpha; more than
/// four keep R, G, B, A by name. Throws InputError naming what is damaged.
[[nodiscard]] PlatePixels readPlatePixels(const PlateFile& file);

/// PLATES on the command line: files, folders (their pictures in name order, other files ignored)
/// or `name.####.exr`: the frames of the range, else all that are there. Throws InputError for what
/// does not exist or is empty.
struct FrameRange {
    int first = 0, last = 0;
};
[[nodiscard]] std::vector<std::filesystem::path> expandPlates(
    const std::vector<std::string>& arguments, std::optional<FrameRange> frames);
/// "1001-1100" or "1001". Throws InputError.
[[nodiscard]] FrameRange parseFrameRange(const std::string& text);

/// The band of a cylindrical panorama: its rows are linear in tan(tilt).
struct CylinderBand {
    double top_tan = 1, bottom_tan = -1;
};

/// `name.####.exr`: does the file's name stand for frames, and the file of one of them. Numbers are
/// padded with zeros to the width of the #.
[[nodiscard]] bool namesFrames(const std::string& pattern);
[[nodiscard]] std::filesystem::path framePath(const std::string& pattern, int64_t frame);

/// What a written picture carries besides its pixels.
struct PictureTags {
    std::optional<Chromaticities> chromaticities;
    double pixel_aspect = 1;
    std::optional<uint32_t> timecode_word, timecode_user;
    std::optional<FrameRate> frame_rate;
    bool latlong = false;  ///< envmap = latlong
    /// Of a cylindrical panorama: tan(tilt) at its upper and lower edge.
    std::optional<CylinderBand> cylinder;
    std::string colour_space;  ///< "scene_linear" unless the file is for display
    /// A fingerprint of all that the picture was made from, so that --resume knows it again; EXR.
    std::string recipe;
    /// What was found while making it, so that --resume tells it again; EXR.
    std::string found;
};

/// What a scene-linear picture made of this plate takes over from it.
[[nodiscard]] PictureTags tagsOf(const PlateFile& file);

/// Writes a float picture whole (EXR half/float by `half`, TIFF 16/float, PNG and JPEG as given:
/// apply the display curve first). `origin` is the data window's corner against a display window of
/// `display_width` x `display_height`. Written beside and renamed. Throws RoomError.
struct DataWindow {
    int x = 0, y = 0, display_width = 0, display_height = 0;
};
void writePicture(const std::filesystem::path& path, const Picture& picture,
                  const PictureTags& tags, bool half, const DataWindow& window);

}  // namespace plateloom::io
