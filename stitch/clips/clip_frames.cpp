#include "stitch/clips/clip_frames.h"

#include <algorithm>

#include "io/clip.h"
#include "io/file_name.h"
#include "io/input_error.h"
#include "io/numbered_files.h"
#include "stitch/clips/clip_lenses.h"
#include "stitch/clips/clip_report.h"
#include "stitch/plates/plate_papers.h"

namespace plateloom::stitch {

namespace {

bool areClips(const std::vector<std::string>& plates) {
    return plates.size() > 1 &&
           std::all_of(plates.begin(), plates.end(), [](const std::string& name) {
               std::error_code error;
               return io::isMovieName(name) ||
                      (io::namesFrames(name) && !std::filesystem::exists(name, error));
           });
}

// What was asked for by number has to be there.
void checkAsked(const io::FrameRange& asked, const io::Clip& clip) {
    std::vector<int64_t> missing;
    for (int64_t number = asked.first; number <= asked.last; ++number)
        if (!clip.has(number)) missing.push_back(number);
    if (!missing.empty())
        throw io::InputError(clip.pattern, io::framesInWords(missing) + " of --frames " +
                                               (missing.size() == 1 ? "is" : "are") + " missing");
}

}  // namespace

PlateSet gatherFrames(const PlateArguments& arguments) {
    if (!areClips(arguments.plates)) return gatherPlates(arguments);
    const LensData lens = readLensData(arguments.lens_tracks);
    if (lens.tracks.size() < 2) return gatherPlates(arguments);
    const io::Clips found =
        io::findClips(arguments.plates, arguments.frames, arguments.colour_space);
    const ClipLenses lenses(lens.tracks, found.clips, Rolled::in_turn);
    std::optional<ClipReport> report;
    if (arguments.report) report.emplace(io::readCameraReport(*arguments.report), found.clips);

    std::vector<io::PlateFile> files;
    std::vector<std::optional<ClipLenses::Sample>> samples;
    std::vector<PlatePapers> papers;
    for (size_t c = 0; c < found.clips.size(); ++c) {
        const io::Clip& clip = found.clips[c];
        if (arguments.frames) checkAsked(*arguments.frames, clip);
        for (const int64_t number : clip.numbers) {
            files.push_back(clip.frame(number));
            samples.push_back(lenses.at(c, number, files.back()));
            papers.emplace_back();
            if (report) papers.back().report = report->lineOf(int(c));
        }
    }
    for (size_t i = 0; i < files.size(); ++i) {
        papers[i].sample = &samples[i]->sample;
        papers[i].where = samples[i]->where;
        papers[i].track = samples[i]->track;
    }
    PlateSet set =
        describePlates(files, papers, report && report->tellsNd(), arguments, lens.tableOrNull());
    set.notes.insert(set.notes.begin(), lenses.notes().begin(), lenses.notes().end());
    set.notes.insert(set.notes.begin(), found.notes.begin(), found.notes.end());
    set.warnings.insert(set.warnings.begin(), found.warnings.begin(), found.warnings.end());
    return set;
}

}  // namespace plateloom::stitch
