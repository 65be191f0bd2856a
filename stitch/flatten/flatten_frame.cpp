#include "stitch/flatten/flatten_frame.h"

#include <algorithm>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/picture_source.h"
#include "stitch/flatten/frame_warp.h"
#include "stitch/flatten/made_findings.h"
#include "stitch/resample/flat_positions.h"
#include "stitch/resample/warp.h"

namespace plateloom::stitch {

namespace {

constexpr int kBandRows = 256;  // as unflatten_job.cpp

std::string layerOf(const io::FrameChannel& channel) {
    return channel.name.substr(0, channel.name.rfind('.') + 1);  // "" or "layer."
}

bool isPictureAlone(const io::FrameFile& file) {
    if (file.parts.size() > 1) return false;
    const auto& channels = file.parts.front().channels;
    return std::all_of(channels.begin(), channels.end(), [&](const io::FrameChannel& channel) {
        return layerOf(channel) == layerOf(channels.front()) &&
               (channel.kind == io::ChannelKind::colour ||
                channel.kind == io::ChannelKind::coverage);
    });
}

FrameWarp flattening(const calib::LensMap& lens, const PixelBounds& bounds) {
    FrameWarp warp;
    warp.to = bounds;
    warp.from = wholeFrame(lens.sensor());
    warp.source = [&lens](double x, double y) { return recordedFromFlat(lens, {x, y}); };
    warp.light = [&lens](const calib::Vector2d&,
                         const calib::Vector2d& recorded) -> std::optional<float> {
        const auto transmission = float(lens.transmission(recorded));
        if (!(transmission > kLeastTransmission)) return std::nullopt;
        return 1 / transmission;
    };
    return warp;
}

// The plane of the picture's red, where it has no alpha yet.
io::FramePixels::Filtered* planeWithoutAlpha(const io::FramePart& part, io::FramePixels& pixels) {
    for (auto& plane : pixels.filtered)
        if (part.channels[size_t(plane.channel[0])].kind == io::ChannelKind::colour)
            return plane.channel[3] < 0 ? &plane : nullptr;
    return nullptr;
}

}  // namespace

std::optional<io::FrameFile> frameWithMore(const io::PlateFile& plate, std::string* warning) {
    if (plate.movie_frame > 0 || !io::isExrName(plate.path)) return std::nullopt;
    try {
        io::FrameFile file = io::readFrameHeader(plate);
        if (isPictureAlone(file)) return std::nullopt;
        if (io::openPicture(plate.path).orientation.isNone()) return file;
        *warning = plate.name() + ": stored turned: its other channels are left out";
    } catch (const io::InputError& error) {
        *warning = std::string("only the picture is flattened: ") + error.what();
    }
    return std::nullopt;
}

MadeFindings flattenFrame(const io::FrameFile& source, const calib::LensMap& lens, Fit fit,
                          const std::filesystem::path& target, const std::string& recipe,
                          bool* clamped) {
    const PixelBounds bounds = flatBounds(lens, fit, clamped);
    io::FrameLayout layout{bounds.x0, bounds.y0, bounds.width(), bounds.height(), {}, {}};
    // The main part is read first: whether it has an alpha stands in the file's header.
    io::FrameFile file = source;
    io::FramePart& main = file.parts[file.main_part];
    io::FramePixels main_pixels = io::readFramePart(file, file.main_part);
    if (auto* plane = planeWithoutAlpha(main, main_pixels)) {
        const io::FrameChannel& red = main.channels[size_t(plane->channel[0])];
        layout.alpha = layerOf(red) + "A";
        layout.alpha_type = red.type;
        plane->channel[3] = int(main.channels.size());
        main.channels.push_back({layout.alpha, red.type, io::ChannelKind::coverage});
    }
    const FrameWarp warp = flattening(lens, bounds);
    io::FrameWriter writer(target, source, layout, recipe, textOf({}), io::Made::flat_plate);
    MadeFindings found;
    for (size_t p = 0; p < file.parts.size(); ++p) {
        const io::FramePart& part = file.parts[p];
        io::FramePixels pixels =
            p == file.main_part ? std::move(main_pixels) : io::readFramePart(source, p);
        const FrameBright bright = findBright(part, pixels);
        found.bad_pixels += pixels.bad_pixels + pixels.infinite_pixels;
        std::vector<char> band(size_t(bounds.width()) * part.pixelBytes() *
                               size_t(std::min(kBandRows, bounds.height())));
        for (int y = 0; y < bounds.height(); y += kBandRows) {
            const int rows = std::min(kBandRows, bounds.height() - y);
            found.beyond_half +=
                warpFrameRows({part, pixels, bright}, warp, y, rows, band.data()).beyond_half;
            writer.write(p, y, rows, band.data());
        }
    }
    writer.finish(textOf(found));
    return found;
}

}  // namespace plateloom::stitch
