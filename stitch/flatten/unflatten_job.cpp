#include "stitch/flatten/unflatten_job.h"

#include <algorithm>

#include "io/file_name.h"
#include "io/frame_file.h"
#include "io/half_rows.h"
#include "io/made_picture.h"
#include "io/new_file.h"
#include "stitch/clips/clip_frames.h"
#include "stitch/flatten/flat_border.h"
#include "stitch/flatten/frame_targets.h"
#include "stitch/flatten/lens_maps.h"
#include "stitch/flatten/made_findings.h"
#include "stitch/flatten/unflatten.h"
#include "stitch/job/recipe.h"
#include "stitch/job/stage_clock.h"

namespace plateloom::stitch {

namespace {

// A multiple of a strip, and of what OpenEXR compresses together.
constexpr int kRowsAtOnce = 256;

template <class Write>
WarpedRows unflattenPart(const io::FramePart& part, io::FramePixels& pixels,
                         const calib::LensMap& lens, StageClock& clock, const Write& write) {
    fillFlatBorder(part, lens, pixels);
    const int height = lens.sensor().height_px;
    const size_t row_bytes = size_t(lens.sensor().width_px) * part.pixelBytes();
    const FrameBright bright = findBright(part, pixels);
    const FrameWarp warp = unflattening(part, lens);
    std::vector<char> band(row_bytes * size_t(std::min(kRowsAtOnce, height)));
    WarpedRows found;
    for (int y = 0; y < height; y += kRowsAtOnce) {
        const int rows = std::min(kRowsAtOnce, height - y);
        clock.begin("unflatten");
        found += warpFrameRows({part, pixels, bright}, warp, y, rows, band.data());
        clock.begin("write");
        write(y, rows, band.data());
    }
    return found;
}

MadeFindings unflattenExr(const Plate& plate, const calib::LensMap& lens,
                          const std::filesystem::path& target, const std::string& recipe,
                          StageClock& clock) {
    const io::FrameFile file = io::readFrameHeader(plate.file);
    io::FrameWriter writer(target, file, {0, 0, file.width, file.height, {}, {}}, recipe,
                           textOf({}), io::Made::frame);
    MadeFindings made;
    for (size_t p = 0; p < file.parts.size(); ++p) {
        clock.begin("read");
        io::FramePixels pixels = io::readFramePart(file, p);
        clock.begin("unflatten");
        made.bad_pixels += pixels.bad_pixels + pixels.infinite_pixels;
        const WarpedRows found = unflattenPart(
            file.parts[p], pixels, lens, clock,
            [&](int y, int rows, const char* samples) { writer.write(p, y, rows, samples); });
        made.beyond_half += found.beyond_half;
        if (p == file.main_part) made.uncovered = found.uncovered;
    }
    clock.begin("write");
    writer.finish(textOf(made));
    clock.end();
    return made;
}

MadeFindings unflattenPlain(const Plate& plate, const calib::LensMap& lens,
                            const std::filesystem::path& target, const std::string& recipe,
                            bool half, StageClock& clock) {
    clock.begin("read");
    io::PlainFrame frame = io::readPlainFrame(plate.file);
    clock.begin("unflatten");
    io::FramePart& part = frame.file.parts.front();
    // The picture is written from floats whatever it came in.
    for (io::FrameChannel& channel : part.channels) channel.type = io::SampleType::single;
    io::Picture picture(plate.sensor.width_px, plate.sensor.height_px, int(part.channels.size()));
    MadeFindings made;
    made.bad_pixels = frame.pixels.bad_pixels;
    const WarpedRows found =
        unflattenPart(part, frame.pixels, lens, clock, [&](int y, int rows, const char* samples) {
            const auto* from = reinterpret_cast<const float*>(samples);
            std::copy_n(from, size_t(rows) * picture.width * picture.channels, picture.at(0, y));
        });
    made.uncovered = found.uncovered;
    clock.begin("write");
    io::PictureTags tags = io::tagsOf(plate.file);
    tags.recipe = recipe;
    const bool halves = half && !plate.file.needs_float;
    if (halves) made.beyond_half = io::beyondHalf(picture.data.data(), picture.data.size());
    tags.found = textOf(made);
    io::writeMade(target, picture, tags, halves, {0, 0, picture.width, picture.height},
                  io::Made::frame);
    clock.end();
    return made;
}

std::string recipeOf(const Plate& plate, const calib::LensMap& lens, const FrameJob& request) {
    Recipe recipe("unflatten");
    recipe.addPlate(plate.file);
    recipe.add(lens);
    recipe.add({double(request.half)});
    return recipe.text();
}

}  // namespace

UnflattenedFrames unflattenJob(const FrameJob& request, const Progress& progress) {
    PlateArguments arguments = request.plates;
    arguments.one_shot = true;
    const PlateSet set = gatherFrames(arguments);
    UnflattenedFrames result;
    result.notes = set.notes;
    result.warnings = set.warnings;
    for (auto& line : unknownGlass(set)) result.warnings.push_back(std::move(line));
    const auto targets = frameTargets(request.folder, set, false);
    checkTargets(request, set, targets, io::Made::frame);
    io::makeFolder(request.folder);
    StageClock clock({});
    const auto [begin, end] = chunkOf(int64_t(set.plates.size()), request.chunk);
    for (auto i = size_t(begin); i < size_t(end); ++i) {
        progress("unflatten", double(i - size_t(begin)) / double(end - begin));
        const Plate& plate = set.plates[i];
        const std::string name = plate.file.name();
        const calib::LensMap lens(plate.lens, plate.sensor);
        const std::string recipe = recipeOf(plate, lens, request);
        const size_t pixels = size_t(plate.file.width) * size_t(plate.file.height);
        const auto tell = [&](const MadeFindings& made) {
            if (made.uncovered > 0)
                result.uncovered.push_back({name, double(made.uncovered) / double(pixels)});
            tellLight(name, made, pixels, result);
        };
        std::string said;
        if (request.resume && io::isMade(targets[i], recipe, &said))
            if (const auto found = madeFindings(said)) {
                tell(*found);
                result.kept.push_back(targets[i]);
                continue;
            }
        checkTarget(request, targets[i], recipe, io::Made::frame);
        tell(io::isExrName(plate.file.path)
                 ? unflattenExr(plate, lens, targets[i], recipe, clock)
                 : unflattenPlain(plate, lens, targets[i], recipe, request.half, clock));
        result.written.push_back(targets[i]);
        for (const char* stage : {"read", "unflatten", "write"}) clock.add(stage, double(pixels));
    }
    if (request.uv_maps && isFirst(request.chunk))
        result.maps = writeLensMaps(*request.uv_maps, set.plates, Fit::overscan);
    progress("unflatten", 1);
    result.times = clock.times();
    return result;
}

}  // namespace plateloom::stitch
