// From the file to planes in memory, band by band: a band is read as the file has it, all channels
// at once (EXR compresses them together), and dealt out.
#include <algorithm>
#include <cmath>
#include <cstring>
#include <new>

#include "io/file_name.h"
#include "io/frame_attributes.h"
#include "io/frame_file.h"
#include "io/half_rows.h"
#include "io/hole.h"
#include "io/input_error.h"
#include "io/picture_source.h"

namespace plateloom::io {

namespace {

constexpr int kFrameBandRows = 256;  // see plate_pixels.cpp
constexpr uint16_t kPlaneHalfOne = 0x3c00, kPlaneHalfExponent = 0x7c00;

bool isFinite(uint16_t half) {
    return (half & kPlaneHalfExponent) != kPlaneHalfExponent;
}
bool isFinite(float value) {
    return std::isfinite(value);
}

bool isInfinite(uint16_t half) {
    return half == kPlaneHalfExponent;
}
bool isInfinite(float value) {
    return value == INFINITY;
}
uint16_t brightest(uint16_t) {
    return kHalfBrightest;
}
float brightest(float) {
    return kBrightest;
}

PlatePixels planeOf(int width, int height, SampleType type) {
    PlatePixels plane;
    plane.width = width;
    plane.height = height;
    plane.clip_level = INFINITY;
    const size_t values = size_t(width) * height * 4;
    if (type == SampleType::half)
        plane.half.resize(values);
    else
        plane.full.resize(values);
    return plane;
}

std::string layerOf(const FrameChannel& channel) {
    const size_t dot = channel.name.rfind('.');
    return dot == std::string::npos ? "" : channel.name.substr(0, dot);
}

bool isAlpha(const FrameChannel& channel) {
    const std::string name = lowered(channel.name.substr(channel.name.rfind('.') + 1));
    return channel.kind == ChannelKind::coverage && (name == "a" || name == "alpha");
}

// Which channels go into which plane; a plane holds one type.
class PlaneLayout {
public:
    explicit PlaneLayout(const FramePart& part) : part_(part), placed_(part.channels.size()) {}

    std::vector<FramePixels::Filtered> planes() {
        // A layer's colours and their alpha go through one filter together.
        for (size_t c = 0; c < placed_.size(); ++c)
            if (part_.channels[c].kind == ChannelKind::colour) addPlane(c, true);
        for (size_t c = 0; c < placed_.size(); ++c)
            if (isFiltered(part_.channels[c].kind)) addPlane(c, false);
        return std::move(planes_);
    }

private:
    void addPlane(size_t first, bool of_colour) {
        if (placed_[first]) return;
        const FrameChannel& like = part_.channels[first];
        FramePixels::Filtered plane;
        size_t count = 0;
        for (size_t c = first; c < placed_.size(); ++c) {
            const FrameChannel& channel = part_.channels[c];
            if (placed_[c] || channel.type != like.type || !isFiltered(channel.kind)) continue;
            if (of_colour && layerOf(channel) != layerOf(like)) continue;
            if (of_colour != (channel.kind == ChannelKind::colour)) continue;
            if (count == 3) break;
            placed_[c] = true;
            plane.channel[count++] = int(c);
        }
        for (size_t c = 0; of_colour && c < placed_.size(); ++c) {
            const FrameChannel& channel = part_.channels[c];
            if (placed_[c] || channel.type != like.type || !isAlpha(channel)) continue;
            if (layerOf(channel) != layerOf(like)) continue;
            placed_[c] = true;
            plane.channel[3] = int(c);
            break;
        }
        planes_.push_back(std::move(plane));
    }

    const FramePart& part_;
    std::vector<bool> placed_;
    std::vector<FramePixels::Filtered> planes_;
};

bool isShare(const PlatePixels& plane, size_t c) {
    // Of the bits of halves from 0 to 1 none is larger than that of 1.
    for (size_t i = c; i < plane.half.size(); i += 4)
        if (plane.half[i] > kPlaneHalfOne && plane.half[i] != 0x8000) return false;
    for (size_t i = c; i < plane.full.size(); i += 4)
        if (plane.full[i] < 0 || plane.full[i] > 1) return false;
    return true;
}

class PartReader {
public:
    PartReader(const FrameFile& file, size_t part)
        : file_(file), part_(file.parts[part]), stride_(part_.pixelBytes()) {
        size_t at = 0;
        for (const FrameChannel& channel : part_.channels) {
            offset_.push_back(at);
            at += bytesOf(channel.type);
        }
    }

    FramePixels read(OIIO::ImageInput& input, int part, const OIIO::ImageSpec& spec) {
        const int tile = std::max(spec.tile_height, 1);
        const int band =
            spec.tile_width ? (kFrameBandRows + tile - 1) / tile * tile : kFrameBandRows;
        std::vector<char> samples(size_t(band) * part_.width * stride_);
        for (int y = 0; y < part_.height; y += band) {
            const int end = std::min(y + band, part_.height);
            const bool read =
                spec.tile_width
                    ? input.read_tiles(part, 0, spec.x, spec.x + spec.width, spec.y + y,
                                       spec.y + end, spec.z, spec.z + 1, 0, spec.nchannels,
                                       OIIO::TypeUnknown, samples.data())
                    : input.read_scanlines(part, 0, spec.y + y, spec.y + end, spec.z, 0,
                                           spec.nchannels, OIIO::TypeUnknown, samples.data());
            if (!read || input.has_error()) {
                throwIfNoMemory(file_.path, input.geterror());
                throw InputError(file_.path.string(), "is damaged or cut short: rows " +
                                                          std::to_string(y + part_.y) + " to " +
                                                          std::to_string(end - 1 + part_.y) +
                                                          " can't be read; copy the file again");
            }
            // Not before something was read: a damaged header may ask for any amount of memory.
            if (y == 0) layPlanes();
            deal(samples.data(), size_t(y) * part_.width, size_t(end - y) * part_.width);
        }
        for (FramePixels::Filtered& plane : pixels_.filtered)
            for (size_t c = 0; c < 4; ++c)
                plane.is_share[c] =
                    plane.channel[c] >= 0 &&
                    part_.channels[size_t(plane.channel[c])].kind != ChannelKind::colour &&
                    isShare(plane.pixels, c);
        return std::move(pixels_);
    }

private:
    void layPlanes() {
        const size_t count = size_t(part_.width) * part_.height;
        size_t bytes = 0;
        pixels_.filtered = PlaneLayout(part_).planes();
        for (const FramePixels::Filtered& plane : pixels_.filtered)
            bytes += 4 * count * bytesOf(part_.channels[size_t(plane.channel[0])].type);
        for (const FrameChannel& channel : part_.channels)
            if (!isFiltered(channel.kind)) bytes += count * bytesOf(channel.type);
        checkMemory(file_.path, bytes);
        for (FramePixels::Filtered& plane : pixels_.filtered)
            plane.pixels =
                planeOf(part_.width, part_.height, part_.channels[size_t(plane.channel[0])].type);
        for (size_t c = 0; c < part_.channels.size(); ++c)
            if (!isFiltered(part_.channels[c].kind))
                pixels_.nearest.push_back(
                    {int(c), std::vector<char>(count * bytesOf(part_.channels[c].type))});
    }

    void deal(const char* samples, size_t first, size_t count) {
        for (FramePixels::Filtered& plane : pixels_.filtered)
            if (plane.pixels.isHalf())
                fill(samples, count, plane.channel, &plane.pixels.half[4 * first], kPlaneHalfOne,
                     kHalfHole);
            else
                fill(samples, count, plane.channel, &plane.pixels.full[4 * first], 1.0f, kHole);
        for (FramePixels::Nearest& plane : pixels_.nearest) {
            const size_t bytes = bytesOf(part_.channels[size_t(plane.channel)].type);
            const char* from = samples + offset_[size_t(plane.channel)];
            char* to = &plane.samples[bytes * first];
            for (size_t i = 0; i < count; ++i, from += stride_, to += bytes)
                std::memcpy(to, from, bytes);
        }
    }

    template <class Value>
    void fill(const char* samples, size_t count, const std::array<int, 4>& channel, Value* to,
              Value one, Value hole) {
        std::array<size_t, 4> at{};
        for (size_t c = 0; c < 4; ++c)
            at[c] = channel[c] >= 0 ? offset_[size_t(channel[c])] : offset_[size_t(channel[0])];
        for (size_t i = 0; i < count; ++i, samples += stride_, to += 4) {
            for (size_t c = 0; c < 4; ++c) std::memcpy(to + c, samples + at[c], sizeof(Value));
            if (channel[3] < 0) to[3] = one;
            if (isHole(to[3])) to[3] = 0;  // the file's own -0
            if (isFinite(to[0]) && isFinite(to[1]) && isFinite(to[2]) && isFinite(to[3])) continue;
            if (boundInfinite(to)) continue;
            std::fill_n(to, 3, Value(0));
            to[3] = hole;
            ++pixels_.bad_pixels;
        }
    }

    // False where a sample is not finite otherwise: the pixel is a hole.
    template <class Value>
    bool boundInfinite(Value* pixel) {
        if (!isFinite(pixel[3])) return false;
        for (int c = 0; c < 3; ++c) {
            if (isInfinite(pixel[c])) pixel[c] = brightest(pixel[c]);
            if (!isFinite(pixel[c])) return false;
        }
        ++pixels_.infinite_pixels;
        return true;
    }

    const FrameFile& file_;
    const FramePart& part_;
    size_t stride_;
    std::vector<size_t> offset_;
    FramePixels pixels_;
};

}  // namespace

FramePixels readFramePart(const FrameFile& file, size_t part) try {
    PictureSource source = openPicture(file.path);
    const OIIO::ImageSpec spec = source.input->spec(int(part));
    if (spec.width != file.parts[part].width || spec.height != file.parts[part].height ||
        spec.nchannels != int(file.parts[part].channels.size()))
        throw InputError(file.path.string(), "its size changed while it was being used");
    return PartReader(file, part).read(*source.input, int(part), spec);
} catch (const std::bad_alloc&) {
    throw RoomError(file.path.string(), "there is not enough memory for one part of it (" +
                                            std::to_string(file.parts[part].width) + " x " +
                                            std::to_string(file.parts[part].height) + " pixels, " +
                                            std::to_string(file.parts[part].channels.size()) +
                                            " channels)");
}

PlainFrame readPlainFrame(const PlateFile& file) {
    const bool alpha = openPicture(file.path).channel[3] >= 0;
    PlatePixels picture = readPlatePixels(file);
    const SampleType type = picture.isHalf() ? SampleType::half : SampleType::single;
    PlainFrame frame;
    frame.file.path = file.path;
    frame.file.width = file.width;
    frame.file.height = file.height;
    FramePart part{0, 0, file.width, file.height, {}};
    for (const char* name : {"R", "G", "B"})
        part.channels.push_back({name, type, ChannelKind::colour});
    if (alpha) part.channels.push_back({"A", type, ChannelKind::coverage});

    frame.pixels.bad_pixels = picture.bad_pixels;
    frame.pixels.filtered.push_back({{0, 1, 2, alpha ? 3 : -1}, {}, std::move(picture)});
    frame.pixels.filtered.back().is_share[3] = alpha;
    frame.file.parts.push_back(std::move(part));
    return frame;
}

}  // namespace plateloom::io
