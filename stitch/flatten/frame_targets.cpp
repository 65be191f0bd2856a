#include "stitch/flatten/frame_targets.h"

#include "io/file_name.h"
#include "io/made_picture.h"
#include "stitch/flatten/lens_maps.h"
#include "stitch/plates/job_inputs.h"

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
    for (const auto& plate : set.plates) targets.push_back(targetOf(folder, plate.file, overscan));
    return targets;
}

void checkTargets(const FrameJob& job, const PlateSet& set,
                  const std::vector<std::filesystem::path>& targets, io::Made kind) {
    io::OutputGuard outputs = job.outputs;
    addInputs(outputs, job.plates);
    const auto [begin, end] = chunkOf(int64_t(targets.size()), job.chunk);
    for (auto i = size_t(begin); i < size_t(end); ++i)
        if (job.resume)
            outputs.takesUp(targets[i]);
        else
            outputs.writes(targets[i], kind);
    if (job.uv_maps && isFirst(job.chunk))
        for (const auto& map : lensMapPaths(*job.uv_maps, set.plates))
            outputs.writes(map, io::Made::map);
    outputs.check();
}

void checkTarget(const FrameJob& job, const std::filesystem::path& target,
                 const std::string& recipe, io::Made kind) {
    if (job.resume && io::recipeOf(target) != recipe) job.outputs.mayReplace(target, kind);
}

}  // namespace plateloom::stitch
