#include <algorithm>
#include <map>

#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/movie_frames.h"
#include "io/plate_file.h"
#include "io/twin_files.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

namespace {

std::vector<size_t> firstOfName(const std::vector<std::filesystem::path>& paths) {
    std::map<std::filesystem::path, size_t> known;
    std::vector<size_t> first;
    for (size_t i = 0; i < paths.size(); ++i)
        first.push_back(known.emplace(paths[i].lexically_normal(), i).first->second);
    return first;
}

// Drops what was given twice, by name or as a copy.
std::vector<std::filesystem::path> withoutTwins(const std::vector<std::filesystem::path>& paths,
                                                bool copies_count,
                                                std::vector<std::string>* warnings) {
    const std::vector<size_t> first = copies_count ? firstOfName(paths) : io::firstTwins(paths);
    std::vector<std::filesystem::path> kept;
    for (size_t i = 0; i < paths.size(); ++i) {
        if (first[i] == i)
            kept.push_back(paths[i]);
        else if (paths[i] == paths[first[i]])
            warnings->push_back(paths[i].string() + ": given twice; used once");
        else
            warnings->push_back(paths[i].string() + ": the same picture as " +
                                paths[first[i]].string() + "; left out");
    }
    return kept;
}

// Panoramas and previews of earlier runs, which lie beside the plates, are no plates.
std::vector<io::PlateFile> platesOf(std::vector<io::PlateFile> files,
                                    std::vector<std::string>* warnings) {
    for (const auto& file : files)
        if (!file.not_a_plate.empty())
            warnings->push_back(file.path.string() + ": left out, it is " + file.not_a_plate +
                                ", not a plate");
    if (!files.empty() && std::all_of(files.begin(), files.end(),
                                      [](const auto& file) { return !file.not_a_plate.empty(); }))
        throw io::InputError(files.front().path.string(),
                             "is " + files.front().not_a_plate + ", and no plates are there");
    std::erase_if(files, [](const auto& file) { return !file.not_a_plate.empty(); });
    return files;
}

}  // namespace

PlateSet gatherPlates(const PlateArguments& arguments) {
    std::vector<std::string> warnings;
    const auto paths = withoutTwins(io::expandPlates(arguments.plates, arguments.frames),
                                    arguments.one_shot, &warnings);
    std::vector<io::PlateFile> files;
    for (const auto& path : paths) {
        const auto frames =
            io::readPlateFrames(path, arguments.colour_space, arguments.frames, &warnings);
        files.insert(files.end(), frames.begin(), frames.end());
    }
    files = platesOf(std::move(files), &warnings);
    const LensData lens = readLensData(arguments.lens_tracks);
    std::optional<io::CameraReport> report;
    if (arguments.report) report = io::readCameraReport(*arguments.report);

    PlateSet set = describePlates(files, lens.tracks, report ? &*report : nullptr, arguments,
                                  lens.tableOrNull());
    set.warnings.insert(set.warnings.begin(), warnings.begin(), warnings.end());
    return set;
}

}  // namespace plateloom::stitch
