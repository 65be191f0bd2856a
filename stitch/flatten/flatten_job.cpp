#include "stitch/flatten/flatten_job.h"

#include "io/half_rows.h"
#include "io/made_picture.h"
#include "io/new_file.h"
#include "stitch/clips/clip_frames.h"
#include "stitch/flatten/flatten_frame.h"
#include "stitch/flatten/frame_targets.h"
#include "stitch/flatten/lens_maps.h"
#include "stitch/flatten/made_findings.h"
#include "stitch/job/recipe.h"
#include "stitch/job/stage_clock.h"

namespace plateloom::stitch {

namespace {

std::string recipeOf(const Plate& plate, const FlattenJob& request) {
    Recipe recipe("flatten");
    recipe.addPlate(plate.file);
    recipe.add(calib::LensMap(plate.lens, plate.sensor));
    recipe.add({double(int(request.fit)), double(request.half)});
    return recipe.text();
}

std::string cutOverscan(const std::string& name) {
    return name + ": overscan cut at twice the frame";
}

}  // namespace

MadeFrames flattenJob(const FlattenJob& request, const Progress& progress) {
    const PlateSet set = gatherFrames(request.plates);
    MadeFrames result;
    result.notes = set.notes;
    result.warnings = set.warnings;
    for (auto& line : unknownGlass(set)) result.warnings.push_back(std::move(line));
    const auto targets = frameTargets(request.folder, set, request.fit == Fit::overscan);
    checkTargets(request, set, targets, io::Made::flat_plate);
    io::makeFolder(request.folder);

    StageClock clock({});
    const auto [begin, end] = chunkOf(int64_t(set.plates.size()), request.chunk);
    for (auto i = size_t(begin); i < size_t(end); ++i) {
        progress("flatten", double(i - size_t(begin)) / double(end - begin));
        const auto& plate = set.plates[i];
        const auto name = plate.file.name();
        auto tags = io::tagsOf(plate.file);
        tags.recipe = recipeOf(plate, request);
        const calib::LensMap lens(plate.lens, plate.sensor);
        const size_t count = size_t(plate.file.width) * size_t(plate.file.height);
        bool clamped = false;
        (void)flatBounds(lens, request.fit, &clamped);
        if (clamped) result.warnings.push_back(cutOverscan(name));
        std::string said;
        if (request.resume && io::isMade(targets[i], tags.recipe, &said))
            if (const auto found = madeFindings(said)) {
                tellLight(name, *found, count, result);
                result.kept.push_back(targets[i]);
                continue;
            }
        checkTarget(request, targets[i], tags.recipe, io::Made::flat_plate);
        std::string warning;
        if (const auto frame = frameWithMore(plate.file, &warning)) {
            clock.begin("flatten");
            const MadeFindings found =
                flattenFrame(*frame, lens, request.fit, targets[i], tags.recipe, nullptr);
            clock.end();
            tellLight(name, found, count, result);
            result.written.push_back(targets[i]);
            clock.add("flatten", double(count));
            continue;
        }
        if (!warning.empty()) result.warnings.push_back(warning);
        clock.begin("read");
        const auto pixels = io::readPlatePixels(plate.file);
        clock.begin("flatten");
        const auto flat = flattenPlate(pixels, lens, request.fit, nullptr);
        const bool halves = request.half && !plate.file.needs_float;
        const MadeFindings found{
            0, pixels.bad_pixels,
            halves ? io::beyondHalf(flat.picture.data.data(), flat.picture.data.size()) : 0};
        tellLight(name, found, count, result);
        tags.found = textOf(found);
        clock.begin("write");
        io::writeMade(targets[i], flat.picture, tags, halves, flat.window, io::Made::flat_plate);
        clock.end();
        result.written.push_back(targets[i]);
        clock.add("read", double(count));
        for (const char* stage : {"flatten", "write"})
            clock.add(stage, double(flat.picture.width) * flat.picture.height);
    }
    if (request.uv_maps && isFirst(request.chunk))
        result.maps = writeLensMaps(*request.uv_maps, set.plates, request.fit);
    progress("flatten", 1);
    result.times = clock.times();
    return result;
}

}  // namespace plateloom::stitch
