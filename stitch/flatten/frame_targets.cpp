#include "stitch/flatten/frame_targets.h"

#include <set>

#include "io/file_name.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

std::filesystem::path targetOf(const std::filesystem::path& folder, const io::PlateFile& plate,
                               bool overscan) {
    const std::filesystem::path& source = plate.path;
    if (plate.movie_frame > 0)
        return folder / io::framePath(source.stem().string() + ".####.exr", plate.movie_frame);
    const bool keeps = io::isExrName(source) || (io::isTiffName(source) && !overscan);
    return folder /
           (keeps ? source.filename() : std::filesystem::path(source.stem().string() + ".exr"));
}

}  // namespace

std::vector<std::filesystem::path> frameTargets(const std::filesystem::path& folder,
                                                const PlateSet& set, bool overscan) {
    std::vector<std::filesystem::path> targets;
    std::set<std::filesystem::path> taken;
    for (const auto& plate : set.plates) {
        const auto target = targetOf(folder, plate.file, overscan);
        if (!taken.insert(target).second)
            throw io::InputError(plate.file.path.string(),
                                 "another one has the same name; write them into different "
                                 "folders");
        std::error_code none;
        if (std::filesystem::equivalent(target, plate.file.path, none))
            throw io::InputError(
                target.string(),
                "would be written over the file it is made from; choose another -o folder");
        targets.push_back(target);
    }
    return targets;
}

}  // namespace plateloom::stitch
