#include "stitch/clips/take.h"

#include <algorithm>

#include "io/input_error.h"
#include "io/numbered_files.h"
#include "stitch/clips/clip_lenses.h"
#include "stitch/clips/clip_report.h"
#include "stitch/plates/plate_papers.h"
#include "stitch/plates/working_primaries.h"

namespace plateloom::stitch {

struct Take::Papers {
    Papers(const TakeArguments& asked, const std::vector<io::Clip>& clips)
        : arguments(asked.plates),
          lens(readLensData(asked.plates.lens_tracks)),
          lenses(lens.tracks, clips, asked.rolled) {
        if (arguments.report) report.emplace(io::readCameraReport(*arguments.report), clips);
    }

    PlateArguments arguments;
    LensData lens;
    ClipLenses lenses;
    std::optional<ClipReport> report;
};

namespace {

void append(std::vector<std::string>& to, const std::vector<std::string>& from) {
    to.insert(to.end(), from.begin(), from.end());
}

// The frames that were asked for, as far as all clips have them.
void keepAsked(const io::FrameRange& asked, Take& take) {
    const std::string range = std::to_string(take.first) + " to " + std::to_string(take.last);
    const std::string option =
        "--frames " + std::to_string(asked.first) + "-" + std::to_string(asked.last);
    if (asked.first > take.last || asked.last < take.first)
        throw io::InputError(option,
                             "the clips have frames " + range + " in common, none of these");
    if (asked.first < take.first || asked.last > take.last)
        take.warnings.push_back(option + ": the clips have frames " + range +
                                " in common; the others are left out");
    take.first = std::max<int64_t>(take.first, asked.first);
    take.last = std::min<int64_t>(take.last, asked.last);
}

}  // namespace

bool Take::has(int clip, int64_t frame) const {
    const TakeClip& one = clips[size_t(clip)];
    return one.clip.has(frame + one.ahead);
}

std::optional<io::Timecode> Take::timecodeAt(int64_t frame) const {
    if (!start || !rate) return std::nullopt;
    return io::timecodeOf(io::frameNumber(*start, *rate) + frame - first, *rate, start->drop_frame);
}

std::optional<io::Timecode> Take::timecodeAt(int64_t frame, int clip) const {
    const io::Clip& own = clips[size_t(clip)].clip;
    if (!own.start || !rate) return std::nullopt;
    const int64_t since_start = frame + clips[size_t(clip)].ahead - own.numbers.front();
    return io::timecodeOf(io::frameNumber(*own.start, *rate) + since_start, *rate,
                          own.start->drop_frame);
}

std::string Take::lensSourceOf(int clip) const {
    const std::string& track = papers_->lenses.sources()[size_t(clip)];
    if (!track.empty() || !papers_->lens.table) return track;
    return "the lens table " + papers_->lens.table->path.filename().string();
}

// `numbers`: clips and the numbers of their frames.
PlateSet Take::describe(const std::vector<std::pair<int, int64_t>>& numbers) const {
    std::vector<io::PlateFile> files;
    std::vector<std::optional<ClipLenses::Sample>> samples;
    for (const auto& [clip, number] : numbers) {
        files.push_back(clips[size_t(clip)].clip.frame(number));
        samples.push_back(papers_->lenses.at(size_t(clip), number, files.back()));
    }
    std::vector<PlatePapers> papers(files.size());
    for (size_t i = 0; i < files.size(); ++i) {
        if (papers_->report) papers[i].report = papers_->report->lineOf(numbers[i].first);
        if (!samples[i]) continue;
        papers[i].sample = &samples[i]->sample;
        papers[i].where = samples[i]->where;
        papers[i].track = samples[i]->track;
    }
    return describePlates(files, papers, papers_->report && papers_->report->tellsNd(),
                          papers_->arguments, papers_->lens.tableOrNull());
}

Moment Take::at(int64_t frame) const {
    Moment moment;
    moment.frame = frame;
    std::vector<std::pair<int, int64_t>> numbers;
    for (size_t c = 0; c < clips.size(); ++c) {
        const auto& without = clips[c].without_lens;
        if (!has(int(c), frame) || std::binary_search(without.begin(), without.end(), frame))
            continue;
        numbers.emplace_back(int(c), frame + clips[c].ahead);
        moment.clip.push_back(int(c));
    }
    moment.plates = describe(numbers).plates;
    for (size_t i = 0; i < moment.plates.size(); ++i)
        moment.plates[i].lens_group = clips[size_t(moment.clip[i])].lens_group;
    return moment;
}

void Take::findGaps(bool tolerates) {
    for (size_t c = 0; c < clips.size(); ++c) {
        TakeClip& one = clips[c];
        const ClipLenses::Gap gap = papers_->lenses.gapsOf(c, first + one.ahead, last + one.ahead);
        if (gap.numbers.empty()) continue;
        const std::string text =
            "no lens sample for " + io::framesInWords(gap.numbers) + " (" + gap.why + ")";
        if (!tolerates)
            throw io::InputError(one.clip.name,
                                 text +
                                     "; add the missing part of the track, or keep to frames "
                                     "that have one with --frames");
        one.why_without_lens = gap.why;
        for (const int64_t number : gap.numbers) one.without_lens.push_back(number - one.ahead);
    }
}

// One plate a clip, as early as it can be described: which of them share a lens, and what there is
// to say of their lens data.
void Take::findGroups() {
    std::vector<std::pair<int, int64_t>> numbers;
    for (size_t c = 0; c < clips.size(); ++c) {
        const TakeClip& one = clips[c];
        for (int64_t frame = first; frame <= last; ++frame) {
            if (!has(int(c), frame) ||
                std::binary_search(one.without_lens.begin(), one.without_lens.end(), frame))
                continue;
            numbers.emplace_back(int(c), frame + one.ahead);
            break;
        }
    }
    const PlateSet set = describe(numbers);
    append(warnings, set.warnings);
    append(warnings, unknownGlass(set));
    for (size_t c = 0; c < clips.size(); ++c) clips[c].lens_group = int(c);
    if (rolled == Rolled::array) return;
    for (size_t i = 0; i < numbers.size(); ++i)
        clips[size_t(numbers[i].first)].lens_group = set.plates[i].lens_group;
}

Take gatherTake(const TakeArguments& arguments) {
    io::Clips found =
        io::findClips(arguments.plates.plates, std::nullopt, arguments.plates.colour_space);
    std::vector<io::PlateFile*> firsts;
    for (io::Clip& clip : found.clips) firsts.push_back(&clip.first);
    const PrimariesFound primaries = useOnePrimaries(firsts, arguments.plates.working_space);
    const ClipTimes times =
        timesOf(found.clips, arguments.rolled, arguments.sync, arguments.offsets);
    Take take;
    take.rolled = arguments.rolled;
    take.first = times.first;
    take.last = times.last;
    take.rate = times.rate;
    append(take.notes, found.notes);
    append(take.notes, primaries.notes);
    append(take.notes, times.notes);
    append(take.warnings, found.warnings);
    append(take.warnings, primaries.warnings);
    append(take.warnings, times.warnings);
    if (arguments.plates.frames) keepAsked(*arguments.plates.frames, take);

    const auto papers = std::make_shared<const Take::Papers>(arguments, found.clips);
    append(take.notes, papers->lenses.notes());
    if (papers->lens.table) take.notes.push_back(saidOf(*papers->lens.table));
    for (const io::LensTrack& track : papers->lens.tracks) append(take.warnings, track.warnings);
    if (papers->report) append(take.warnings, papers->report->warnings());
    for (size_t c = 0; c < found.clips.size(); ++c)
        take.clips.push_back({std::move(found.clips[c]), times.ahead[c], 0, {}, {}});
    const io::Clip& lead = take.clips.front().clip;
    if (lead.start && take.rate)
        take.start = io::timecodeOf(
            io::frameNumber(*lead.start, *take.rate) + take.first - lead.numbers.front(),
            *take.rate, lead.start->drop_frame);
    take.papers_ = papers;
    take.findGaps(arguments.tolerates_gaps);
    take.findGroups();
    return take;
}

}  // namespace plateloom::stitch
