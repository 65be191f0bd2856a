// From the file to the plate in memory, band by band: a band (a few hundred rows) is read,
// converted while it is still in cache and put in its place; so beside the plate itself only one
// band is held.
#include <algorithm>
#include <limits>
#include <new>
#include <string>

#include "io/clip_plateau.h"
#include "io/code_range.h"
#include "io/colour.h"
#include "io/half_rows.h"
#include "io/hole.h"
#include "io/input_error.h"
#include "io/movie_reader.h"
#include "io/placing.h"
#include "io/plate_file.h"
#include "io/plate_rows.h"

namespace plateloom::io {

namespace {

// Rows that OpenEXR compresses together are at most 256 (DWAB): bands of a multiple of it never
// decompress a block twice, and hold enough blocks for several threads.
constexpr int kBandRows = 256;

// What code value 1 becomes, less a little: the last codes below full scale are clipped, too, once
// the camera has denoised or compressed the picture (common practice).
constexpr float kClipMargin = 0.995f;

// The part of the stored picture that is inside the display window; stored coordinates.
struct Window {
    int x_begin, x_end, y_begin, y_end;
    [[nodiscard]] bool isEmpty() const { return x_begin >= x_end || y_begin >= y_end; }
};

Window recordedWindow(const OIIO::ImageSpec& spec) {
    return {std::max(spec.x, spec.full_x),
            std::min(spec.x + spec.width, spec.full_x + spec.full_width),
            std::max(spec.y, spec.full_y),
            std::min(spec.y + spec.height, spec.full_y + spec.full_height)};
}

PlatePixels emptyPlate(const PlateFile& file, bool of_holes) {
    const size_t values = size_t(file.width) * file.height * 4;
    checkMemory(file.path, values * (file.needs_float ? sizeof(float) : sizeof(uint16_t)));
    PlatePixels plate;
    plate.width = file.width;
    plate.height = file.height;
    if (file.needs_float) {
        plate.full.resize(values);
    } else {
        plate.half.resize(values);
    }
    if (!of_holes) return plate;
    for (size_t i = 3; i < plate.half.size(); i += 4) plate.half[i] = kHalfHole;
    for (size_t i = 3; i < plate.full.size(); i += 4) plate.full[i] = kHole;
    return plate;
}

class PixelReader {
public:
    PixelReader(const PlateFile& file, PictureSource& source, bool with_alpha)
        : file_(file),
          source_(source),
          has_alpha_(with_alpha && source.channel[3] >= 0),
          rows_(source, file.colour_space, with_alpha, !file.needs_float),
          placing_(source.orientation, file.width, file.height) {}

    /// Returns whether any pixel is covered.
    bool read(PlatePixels& plate) {
        const Window window = recordedWindow(source_.spec);
        if (window.isEmpty()) {
            plate = emptyPlate(file_, leavesHoles(window));
            return false;
        }
        const OIIO::ImageSpec& spec = source_.spec;
        const int tile = std::max(spec.tile_height, 1);
        const int band = spec.tile_width ? (kBandRows + tile - 1) / tile * tile : kBandRows;
        bool covered = false;
        // Bands start where the file's own blocks start, so that none is read twice.
        const int offset = (window.y_begin - spec.y) / band * band;
        for (int y = spec.y + offset; y < window.y_end; y += band) {
            const int end = std::min(y + band, spec.y + spec.height);
            readBand(y, end);
            // Not before something was read: a damaged header may ask for any amount of memory.
            if (plate.bytes() == 0) plate = emptyPlate(file_, leavesHoles(window));
            convertBand(plate, window, y, end, covered);
        }
        plate.bad_pixels = found_.holes + found_.infinite;
        return covered;
    }

private:
    // What the data window leaves out is transparent in a picture with alpha, a hole in one
    // without.
    [[nodiscard]] bool leavesHoles(const Window& window) const {
        const OIIO::ImageSpec& spec = source_.spec;
        const bool whole = window.x_end - window.x_begin == spec.full_width &&
                           window.y_end - window.y_begin == spec.full_height;
        return !whole && !has_alpha_;
    }
    [[nodiscard]] size_t pixelBytes() const { return rows_.readAs().size() * rows_.span().count; }

    void readBand(int begin, int end) {
        const OIIO::ImageSpec& spec = source_.spec;
        const int channel_end = rows_.span().first + rows_.span().count;
        band_.resize(size_t(end - begin) * spec.width * pixelBytes());
        const bool read =
            spec.tile_width
                ? source_.input->read_tiles(source_.part, 0, spec.x, spec.x + spec.width, begin,
                                            end, spec.z, spec.z + 1, rows_.span().first,
                                            channel_end, rows_.readAs(), band_.data())
                : source_.input->read_scanlines(source_.part, 0, begin, end, spec.z,
                                                rows_.span().first, channel_end, rows_.readAs(),
                                                band_.data());
        // TIFF and JPEG readers hand over what they have, say so on the side, and call it read.
        if (read && !source_.input->has_error()) return;
        throwIfNoMemory(file_.path, source_.input->geterror());
        throw InputError(file_.where(), "is damaged or cut short: rows " +
                                            std::to_string(begin - spec.full_y) + " to " +
                                            std::to_string(end - 1 - spec.full_y) +
                                            " can't be read; copy the file again");
    }

    void convertBand(PlatePixels& plate, const Window& window, int begin, int end, bool& covered) {
        const int first = std::max(begin, window.y_begin), last = std::min(end, window.y_end);
        const int step = placing_.isInPlace() ? 1 : Placing::kRowsAtOnce;
        for (int row = first; row < last; row += step) {
            const int next = std::min(row + step, last);
            if (file_.needs_float) {
                found_ += convertRows(plate.full.data(), turned_floats_, window, begin, row, next,
                                      [&](const char* samples, size_t count, float* rgba) {
                                          return rows_.toFloats(samples, count, rgba, covered);
                                      });
            } else {
                found_ += convertRows(plate.half.data(), turned_halves_, window, begin, row, next,
                                      [&](const char* samples, size_t count, uint16_t* rgba) {
                                          return rows_.toHalves(samples, count, rgba, covered);
                                      });
            }
        }
    }

    // Straight into the plate where a stored row is a row of the plate, else by way of `turned`.
    template <typename Value, typename Convert>
    NotFinite convertRows(Value* plate, std::vector<Value>& turned, const Window& window, int band,
                          int begin, int end, const Convert& convert) {
        const OIIO::ImageSpec& spec = source_.spec;
        const auto count = size_t(window.x_end - window.x_begin), rows = size_t(end - begin);
        Value* place = plate + 4 * placing_.of(window.x_begin - spec.full_x, begin - spec.full_y);
        if (!placing_.isInPlace()) turned.resize(4 * count * rows);
        NotFinite found;
        for (size_t row = 0; row < rows; ++row) {
            const size_t in_band =
                (size_t(begin - band) + row) * spec.width + (window.x_begin - spec.x);
            found += convert(band_.data() + in_band * pixelBytes(), count,
                             placing_.isInPlace() ? place : &turned[4 * count * row]);
        }
        if (!placing_.isInPlace()) placing_.turn(turned.data(), count, rows, place);
        return found;
    }

    const PlateFile& file_;
    PictureSource& source_;
    bool has_alpha_;
    RowConverter rows_;
    Placing placing_;
    std::vector<char> band_;
    NotFinite found_;
    std::vector<float> turned_floats_;
    std::vector<uint16_t> turned_halves_;
};

float clipLevelOf(const PictureSource& source, const PlateFile& file, const PlatePixels& plate) {
    if (source.isFloating()) return findClipPlateau(plate);
    float white[3];
    std::fill_n(white, 3, codeRangeOf(source)(1));
    linearize(white, 1, 3, file.colour_space);
    return kClipMargin * *std::max_element(white, white + 3);
}

void convertPrimaries(const std::array<float, 9>& matrix, PlatePixels& plate) {
    const auto convert = [&](float* rgba, size_t count) {
        for (float* p = rgba; p != rgba + 4 * count; p += 4) {
            const float r = p[0], g = p[1], b = p[2];
            for (size_t c = 0; c < 3; ++c)
                p[c] = matrix[3 * c] * r + matrix[3 * c + 1] * g + matrix[3 * c + 2] * b;
        }
    };
    if (!plate.isHalf()) return convert(plate.full.data(), plate.full.size() / 4);
    std::vector<float> row(size_t(plate.width) * 4);
    for (size_t at = 0; at < plate.half.size(); at += row.size()) {
        floatsFromHalves(&plate.half[at], row.size(), row.data());
        convert(row.data(), size_t(plate.width));
        halvesFromFloats(row.data(), row.size(), &plate.half[at]);
    }
}

}  // namespace

PlatePixels readPlatePixels(const PlateFile& file) try {
    PictureSource source = openPlate(file);
    if (source.uprightWidth() != file.width || source.uprightHeight() != file.height) {
        throw InputError(file.path.string(), "its size changed while it was being used");
    }
    PlatePixels plate;
    const bool covered = PixelReader(file, source, true).read(plate);
    // A movie's reader that can't decode a frame hands over the one before: ask one that has none.
    if (source.kind == FileKind::movie && repeatsLastFrame(source.input, file.movie_frame)) {
        source = openPlate(file, true);
        plate = {};
        (void)PixelReader(file, source, true).read(plate);
    }
    // An alpha of nothing but zeros says nothing (some recorders write it so): the picture counts.
    if (!covered && source.channel[3] >= 0) {
        plate = {};
        PixelReader(file, source, false).read(plate);
    }
    plate.clip_level = clipLevelOf(source, file, plate);
    // Clipping is looked for among the channels as they were recorded. Afterwards white has the
    // same value; a highlight that clips in one channel only may come out below it.
    if (file.to_working) convertPrimaries(*file.to_working, plate);
    return plate;
} catch (const std::bad_alloc&) {
    throw RoomError(file.path.string(), "there is not enough memory for its " +
                                            std::to_string(file.width) + " x " +
                                            std::to_string(file.height) + " pixels");
}

}  // namespace plateloom::io
