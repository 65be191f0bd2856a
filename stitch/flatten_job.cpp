#include "stitch/flatten_job.h"

#include <chrono>
#include <set>

#include "io/input_error.h"
#include "io/new_file.h"

namespace plateloom::stitch {

namespace {

// Flat plates are linear light: what can't hold that becomes EXR, under the same name.
std::filesystem::path targetOf(const FlattenRequest& request, const std::filesystem::path& source) {
    const auto extension = source.extension().string();
    const bool keeps = extension == ".exr" || extension == ".tif" || extension == ".tiff";
    return request.folder /
           (keeps ? source.filename() : std::filesystem::path(source.stem().string() + ".exr"));
}

std::vector<std::filesystem::path> targetsOf(const FlattenRequest& request, const PlateSet& set) {
    std::vector<std::filesystem::path> targets;
    std::set<std::filesystem::path> taken;
    for (const auto& plate : set.plates) {
        const auto target = targetOf(request, plate.file.path);
        if (!taken.insert(target).second)
            throw io::InputError(plate.file.path.string(),
                                 "another plate has the same name; flatten them into "
                                 "different folders");
        std::error_code none;
        if (std::filesystem::equivalent(target, plate.file.path, none))
            throw io::InputError(
                target.string(),
                "would be written over the plate itself; choose another -o folder");
        targets.push_back(target);
    }
    return targets;
}

}  // namespace

FlattenResult flattenJob(const FlattenRequest& request, const Progress& progress) {
    using Clock = std::chrono::steady_clock;
    const PlateSet set = gatherPlates(request.plates);
    FlattenResult result;
    result.notes = set.notes;
    result.warnings = set.warnings;
    const auto targets = targetsOf(request, set);
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
        if (!plate.distortion_known)
            result.warnings.push_back(name + ": its lens data has no distortion");
        if (!plate.shading_known)
            result.warnings.push_back(name + ": its lens data has no exposure falloff");
        const auto pixels = io::readPlatePixels(plate.file);
        lap(read);
        bool clamped = false;
        const auto flat =
            flattenPlate(pixels, calib::LensMap(plate.lens, plate.sensor), request.fit, &clamped);
        if (clamped) result.warnings.push_back(name + ": overscan cut at twice the frame");
        lap(flatten);
        io::writePicture(targets[i], flat.picture, io::tagsOf(plate.file),
                         request.half && !plate.file.needs_float, flat.window);
        lap(write);
        result.written.push_back(targets[i]);
        const double count = double(plate.file.width) * plate.file.height;
        read.pixels += count;
        write.pixels += double(flat.picture.width) * flat.picture.height;
        flatten.pixels = write.pixels;
    }
    progress("flatten", 1);
    result.times = {read, flatten, write};
    return result;
}

}  // namespace plateloom::stitch
