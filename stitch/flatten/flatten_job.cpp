#include "stitch/flatten/flatten_job.h"

#include <chrono>

#include "io/finished_frame.h"
#include "io/new_file.h"
#include "stitch/flatten/frame_targets.h"
#include "stitch/flatten/lens_maps.h"
#include "stitch/flatten/recipe.h"

namespace plateloom::stitch {

namespace {

std::string recipeOf(const Plate& plate, const FlattenRequest& request) {
    Recipe recipe("flatten");
    recipe.addFile(plate.file.path);
    recipe.add(plate.file.colour_space);
    recipe.add(calib::LensMap(plate.lens, plate.sensor));
    recipe.add({double(int(request.fit)), double(request.half)});
    return recipe.text();
}

}  // namespace

FlattenResult flattenJob(const FlattenRequest& request, const Progress& progress) {
    using Clock = std::chrono::steady_clock;
    const PlateSet set = gatherPlates(request.plates);
    FlattenResult result;
    result.notes = set.notes;
    result.warnings = set.warnings;
    for (auto& line : unknownGlass(set)) result.warnings.push_back(std::move(line));
    const auto targets = frameTargets(request.folder, set);
    io::makeFolder(request.folder);

    StageTime read{"read", 0, 0}, flatten{"flatten", 0, 0}, write{"write", 0, 0};
    auto lap = [last = Clock::now()](StageTime& stage) mutable {
        const auto now = Clock::now();
        stage.seconds += std::chrono::duration<double>(now - last).count();
        last = now;
    };
    for (size_t i = 0; i < set.plates.size(); ++i) {
        progress("flatten", double(i) / double(set.plates.size()));
        const auto& plate = set.plates[i];
        const auto name = plate.file.path.filename().string();
        auto tags = io::tagsOf(plate.file);
        tags.recipe = recipeOf(plate, request);
        if (request.resume && io::isFinished(targets[i], tags.recipe)) {
            result.kept.push_back(targets[i]);
            continue;
        }
        const auto pixels = io::readPlatePixels(plate.file);
        lap(read);
        bool clamped = false;
        const auto flat =
            flattenPlate(pixels, calib::LensMap(plate.lens, plate.sensor), request.fit, &clamped);
        if (clamped) result.warnings.push_back(name + ": overscan cut at twice the frame");
        lap(flatten);
        io::writePicture(targets[i], flat.picture, tags, request.half && !plate.file.needs_float,
                         flat.window);
        lap(write);
        result.written.push_back(targets[i]);
        const double count = double(plate.file.width) * plate.file.height;
        read.pixels += count;
        write.pixels += double(flat.picture.width) * flat.picture.height;
        flatten.pixels = write.pixels;
    }
    if (request.uv_maps) result.maps = writeLensMaps(*request.uv_maps, set.plates, request.fit);
    progress("flatten", 1);
    result.times = {read, flatten, write};
    return result;
}

}  // namespace plateloom::stitch
