// A panorama on disk, read a part at a time: whoever looks at a few degrees of it need not hold the
// rest. Any picture that plates can be (see picture_source.h), tiled or not, from any program.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "io/picture.h"
#include "io/plate_file.h"

namespace plateloom::io {

struct PictureSource;

/// What a panorama's file says, without its pixels. Its picture is the display window; whatever of
/// that the data window leaves out is not covered.
struct PanoramaFile {
    std::filesystem::path path;
    int width = 0, height = 0;
    bool latlong = false;                  ///< the file says so (EXR envmap = latlong)
    std::optional<CylinderBand> cylinder;  ///< the file says so (describeCylinder's words)
    /// Samples lie on the picture's border instead of on pixel centres (`oiio:sampleborder`). For
    /// EXR, OpenImageIO claims that of every latlong picture; there it is not believed.
    bool samples_on_border = false;
    bool needs_float = false;
    std::string colour_space;
    PictureTags tags;  ///< what a view takes over: chromaticities
};

/// "cylindrical panorama: pan 180 to -180, tan(tilt) 0.75 to -0.5", for the file's description.
[[nodiscard]] std::string describeCylinder(const CylinderBand& band);
/// The inverse; nullopt for any other text.
[[nodiscard]] std::optional<CylinderBand> cylinderOf(const std::string& description);

/// What a picture says that it is instead of a plate: a panorama by its envmap or its cylinder,
/// from any program, or what this program marked it as (made_mark.h). "" for a plate.
[[nodiscard]] std::string notAPlate(const PictureSource& source);

class PanoramaReader {
public:
    /// Holds at most about `cache_bytes` of the file's pixels, however large it is. `colour_space`
    /// overrides what the file says ("" leaves it). Throws InputError as readPlateHeader does, and
    /// for a picture that is stored turned.
    PanoramaReader(const std::filesystem::path& path, const std::string& colour_space,
                   size_t cache_bytes);
    ~PanoramaReader();

    [[nodiscard]] const PanoramaFile& file() const;

    /// Pixels [x, x + width) x [y, y + height), scene-linear, into `pixels`, whose memory is used
    /// again. x goes round: the picture repeats with its width. Rows beyond the top and the bottom
    /// lie beyond the pole when `over_poles` (half a turn away), else they are not covered. A may
    /// be fractional where the file's is; RGB is associated. Safe from several threads. Throws
    /// InputError for a part that can't be read.
    void read(int x, int y, int width, int height, bool over_poles, PlatePixels& pixels) const;

    /// Pixels of what was read so far that are not finite in the file (NaN or infinite). An
    /// infinite colour is taken as the largest that half holds, NaN as not covered.
    [[nodiscard]] size_t badPixels() const;

    struct State;

private:
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::io
