// A picture file, opened through OpenImageIO and looked over before anything trusts it: what kind
// of file it is by its content, which of its parts and channels are the picture, how it has to be
// turned, where its data window lies. plate_header.cpp and plate_pixels.cpp go on from here.
#pragma once

#include <OpenImageIO/imageio.h>

#include <array>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "io/plate_file.h"

namespace plateloom::io {

enum class FileKind { exr, tiff, dpx, png, jpeg, radiance, movie };

/// By the first bytes, whatever the name says; a movie by its name. Throws InputError for a file
/// that is missing, empty, a folder, unreadable, camera raw or of another kind.
[[nodiscard]] FileKind kindOfFile(const std::filesystem::path& path);

/// From rows and columns as stored to upright ones: EXIF `Orientation` 1 to 8 (CIPA DC-008, tag
/// 274), which names the sides of the upright picture that the first stored row and column are.
struct Orientation {
    bool swaps = false;                         ///< stored rows become upright columns
    bool mirrors_x = false, mirrors_y = false;  ///< of the upright picture

    /// 1 to 8; anything else is taken as 1.
    [[nodiscard]] static Orientation fromExif(int value);
    [[nodiscard]] bool isNone() const { return !swaps && !mirrors_x && !mirrors_y; }
};

struct PictureSource {
    std::shared_ptr<OIIO::ImageInput> input;
    FileKind kind = FileKind::exr;
    int part = 0;          ///< the subimage that holds the picture; of a movie, the frame
    OIIO::ImageSpec spec;  ///< of that part
    /// Channel numbers of R, G, B, A in the file; all three colours are the same one for a
    /// luminance picture; A is -1 where there is none.
    std::array<int, 4> channel{-1, -1, -1, -1};
    bool alpha_associated = true;
    Orientation orientation;

    [[nodiscard]] bool isGrey() const { return channel[0] == channel[1]; }
    [[nodiscard]] int uprightWidth() const {
        return orientation.swaps ? spec.full_height : spec.full_width;
    }
    [[nodiscard]] int uprightHeight() const {
        return orientation.swaps ? spec.full_width : spec.full_height;
    }
    /// The numbers are floating point, not code values.
    [[nodiscard]] bool isFloating() const;
    /// Type of the colour channels; the widest where they differ.
    [[nodiscard]] OIIO::TypeDesc type() const;
};

/// Throws InputError (see readPlateHeader).
[[nodiscard]] PictureSource openPicture(const std::filesystem::path& path);

/// Throws InputError for a size or a window that no plate has.
void checkSizes(const std::filesystem::path& path, const OIIO::ImageSpec& part);
/// Throws InputError for parts of an EXR that together hold more samples than a file of its length
/// can, so that a damaged header asks for no memory.
void checkCapacity(const std::filesystem::path& path, const std::vector<OIIO::ImageSpec>& parts);
/// Throws RoomError where that is more than the machine has: asking for it might end in no error.
void checkMemory(const std::filesystem::path& path, uint64_t bytes);
/// Throws RoomError where a library's own words say that it got no memory: it makes one fault of
/// that and of damage.
void throwIfNoMemory(const std::filesystem::path& path, const std::string& said);

/// The file of a plate: of a movie's frame with a reader that stands before it (movie_reader.h),
/// `fresh` with one that was never used.
[[nodiscard]] PictureSource openPlate(const PlateFile& file, bool fresh = false);

}  // namespace plateloom::io
