#include "stitch/clips/clip_lenses.h"

#include <algorithm>
#include <sstream>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/numbered_files.h"
#include "io/sample_agreement.h"
#include "io/track_timeline.h"
#include "stitch/clips/clip_names.h"

namespace plateloom::stitch {

// Samples of one camera and one clip, in a track of their own.
struct ClipLenses::Stream {
    io::LensTrack track;
    size_t file = 0;  // which of the tracks it was in
    std::unique_ptr<io::TrackTimeline> timeline;

    [[nodiscard]] const io::LensSample& first() const { return track.samples.front(); }
    [[nodiscard]] bool isOneLens() const {
        return track.samples.size() == 1 && !first().timecode && !first().frame;
    }
    [[nodiscard]] std::string name() const { return track.path.filename().string(); }
};

struct ClipLenses::Tie {
    enum class By { timecode, number, order, one_lens };
    const Stream* stream = nullptr;
    By by = By::timecode;
};

struct ClipLenses::Found {
    std::optional<Sample> sample;
    std::string why;  // there is none
};

namespace {

const char* inWords(int by) {
    constexpr const char* kWords[] = {"by timecode", "by frame number", "by order",
                                      "as one lens for all frames"};
    return kWords[by];
}

// The frame's own timecode, or counted from the clip's first one.
std::optional<io::Timecode> timecodeOf(const io::Clip& clip, int64_t number,
                                       const io::PlateFile& file) {
    if (!clip.start) return std::nullopt;
    const auto own = file.timecode();
    const bool is_first =
        file.path == clip.first.path && file.movie_frame == clip.first.movie_frame;
    if (own && (!is_first || number == clip.numbers.front())) return own;
    if (!clip.rate) return std::nullopt;
    return io::timecodeOf(io::frameNumber(*clip.start, *clip.rate) + number - clip.numbers.front(),
                          *clip.rate, clip.start->drop_frame);
}

bool namesClip(const io::LensTrack& track, const io::Clip& clip) {
    const io::LensSample& sample = track.samples.front();
    if (!sample.clip.empty()) {
        const bool is_reel =
            !clip.first.clip.empty() && io::lowered(sample.clip) == io::lowered(clip.first.clip);
        return meansClip(sample.clip, clip) || is_reel;
    }
    return meansClip(sample.file, clip);
}

// The samples' camera is the file's, or the clip is called after it.
bool namesCamera(const std::string& camera, const io::Clip& clip) {
    const std::string wanted = io::lowered(camera);
    if (wanted.empty()) return false;
    if (wanted == io::lowered(clip.first.camera)) return true;
    std::istringstream words(wanted);
    for (std::string word; words >> word;)
        if (word == io::lowered(clip.name)) return true;
    return false;
}

}  // namespace

ClipLenses::ClipLenses(const std::vector<io::LensTrack>& tracks, std::vector<io::Clip> clips,
                       Rolled rolled)
    : clips_(std::move(clips)),
      ties_(clips_.size()),
      sources_(clips_.size()),
      tracks_(tracks.size()) {
    if (tracks.empty()) return;
    takeApart(tracks);
    share(rolled);
}

ClipLenses::~ClipLenses() = default;

void ClipLenses::takeApart(const std::vector<io::LensTrack>& tracks) {
    std::optional<io::FrameRate> rate;
    for (const io::Clip& clip : clips_)
        if (!rate) rate = clip.rate;
    for (size_t t = 0; t < tracks.size(); ++t) {
        const size_t first = streams_.size();
        for (const io::LensSample& sample : tracks[t].samples) {
            auto found = std::find_if(
                streams_.begin() + ptrdiff_t(first), streams_.end(), [&](const auto& stream) {
                    const io::LensSample& known = stream->first();
                    const bool other_file = !known.file.empty() && known.clip.empty() &&
                                            io::numberedName(known.file) &&
                                            io::numberedName(sample.file) &&
                                            io::numberedName(known.file)->before !=
                                                io::numberedName(sample.file)->before;
                    return known.clip == sample.clip && known.camera == sample.camera &&
                           !other_file;
                });
            if (found == streams_.end()) {
                auto stream = std::make_unique<Stream>();
                stream->track.path = tracks[t].path;
                stream->file = t;
                found = streams_.insert(streams_.end(), std::move(stream));
            }
            (*found)->track.samples.push_back(sample);
        }
    }
    for (auto& stream : streams_)
        stream->timeline = std::make_unique<io::TrackTimeline>(stream->track, rate);
}

void ClipLenses::share(Rolled rolled) {
    if (shareByName() || serveAll(rolled) || shareByCamera() || shareByOrder()) return;
    const std::string tracks =
        streams_.size() == 1
            ? "one lens track"
            : std::to_string(streams_.size()) + (streams_.size() == tracks_
                                                     ? " lens tracks"
                                                     : " cameras or clips in lens tracks");
    throw io::InputError(streams_.front()->track.path.string(),
                         "there are " + std::to_string(clips_.size()) + " clips and " + tracks +
                             ", and neither names nor cameras tell which is whose: call each track "
                             "after its clip (" +
                             clips_.front().name + ".csv), or name the clip in its samples");
}

// `streams`: one list a clip. False, and nothing done, where a clip gets none.
bool ClipLenses::give(const std::vector<std::vector<size_t>>& streams, const std::string& how) {
    for (const auto& own : streams)
        if (own.empty()) return false;
    for (size_t c = 0; c < clips_.size(); ++c) {
        for (const size_t s : streams[c]) ties_[c].push_back(tieOf(c, s));
        sources_[c] =
            ties_[c].front().stream->name() + " " + inWords(int(ties_[c].front().by)) + how;
        notes_.push_back(clips_[c].name + ": tied to " + sources_[c]);
    }
    return true;
}

bool ClipLenses::shareByName() {
    std::vector<std::vector<size_t>> of_clip(clips_.size());
    std::vector<char> taken(streams_.size(), 0);
    const auto pass = [&](const auto& names) {
        for (size_t c = 0; c < clips_.size(); ++c) {
            if (!of_clip[c].empty()) continue;
            for (size_t s = 0; s < streams_.size(); ++s)
                if (!taken[s] && names(*streams_[s], clips_[c])) of_clip[c].push_back(s);
        }
        for (const auto& own : of_clip)
            for (const size_t s : own) taken[s] = 1;
    };
    pass([](const Stream& stream, const io::Clip& clip) { return namesClip(stream.track, clip); });
    for (const bool exactly : {true, false})
        pass([&](const Stream& stream, const io::Clip& clip) {
            return stream.first().clip.empty() &&
                   isCalledAfter(stream.track.path.string(), clip, exactly);
        });
    const auto named =
        std::count_if(of_clip.begin(), of_clip.end(), [](const auto& own) { return !own.empty(); });
    if (named == 0 || clips_.size() == 1) return named == 1 && give(of_clip, "");
    for (size_t c = 0; c < clips_.size(); ++c)
        if (of_clip[c].empty())
            throw io::InputError(clips_[c].pattern,
                                 "no lens track is called " + clips_[c].name +
                                     " and no sample names it, though other clips are named; add "
                                     "its track, or leave the clip out");
    return give(of_clip, "");
}

// All tracks together: of a single clip, of clips shot in turn, or of one lens alone.
bool ClipLenses::serveAll(Rolled rolled) {
    std::vector<size_t> all;
    for (size_t s = 0; s < streams_.size(); ++s) all.push_back(s);
    const bool one_lens = all.size() == 1 && streams_.front()->isOneLens();
    const bool timed =
        std::all_of(streams_.begin(), streams_.end(),
                    [](const auto& stream) { return stream->timeline->hasTimecodes(); }) &&
        std::all_of(clips_.begin(), clips_.end(),
                    [](const auto& clip) { return clip.start.has_value(); });
    const bool alone = clips_.size() == 1 && (all.size() == 1 || timed);
    if (!alone && !one_lens && !(rolled == Rolled::in_turn && timed)) return false;
    return give(std::vector<std::vector<size_t>>(clips_.size(), all), "");
}

bool ClipLenses::shareByCamera() {
    std::vector<std::vector<size_t>> of_clip(clips_.size());
    for (size_t s = 0; s < streams_.size(); ++s) {
        size_t owners = 0;
        for (size_t c = 0; c < clips_.size(); ++c) {
            if (!namesCamera(streams_[s]->first().camera, clips_[c])) continue;
            of_clip[c].push_back(s);
            ++owners;
        }
        if (owners > 1) return false;  // cameras of one make, without numbers
    }
    return give(of_clip, " (its samples name the clip's camera)");
}

bool ClipLenses::shareByOrder() {
    std::vector<std::vector<size_t>> of_clip(clips_.size());
    const bool by_stream = streams_.size() == clips_.size();
    if (!by_stream && tracks_ != clips_.size()) return false;
    for (size_t s = 0; s < streams_.size(); ++s)
        of_clip[by_stream ? s : streams_[s]->file].push_back(s);
    return give(of_clip, ", in the order given: no name tells which track is whose");
}

ClipLenses::Tie ClipLenses::tieOf(size_t clip_index, size_t stream_index) const {
    const Stream& stream = *streams_[stream_index];
    const io::Clip& clip = clips_[clip_index];
    const size_t samples = stream.track.samples.size();
    const auto span = size_t(clip.numbers.back() - clip.numbers.front() + 1);
    if (stream.isOneLens()) return {&stream, Tie::By::one_lens};
    if (clip.start && stream.timeline->hasTimecodes()) return {&stream, Tie::By::timecode};
    if (stream.timeline->hasFrameNumbers()) return {&stream, Tie::By::number};
    if (samples == clip.numbers.size() || samples == span) return {&stream, Tie::By::order};
    throw io::InputError(
        stream.track.path.string(),
        "holds " + std::to_string(samples) + " samples for the " +
            std::to_string(clip.numbers.size()) + " frames of " + clip.name +
            ", and neither timecodes nor frame numbers tell which is whose: give the track that "
            "was recorded with it, or add a frame column");
}

ClipLenses::Found ClipLenses::find(size_t clip_index, int64_t number,
                                   const io::PlateFile& file) const {
    const io::Clip& clip = clips_[clip_index];
    Found found;
    for (const Tie& tie : ties_[clip_index]) {
        const io::LensTrack& track = tie.stream->track;
        io::SampleInTime here;
        if (tie.by == Tie::By::one_lens) {
            here.exact = &track.samples.front();
        } else if (tie.by == Tie::By::order) {
            const bool gapless = track.samples.size() != clip.numbers.size();
            const auto place = std::lower_bound(clip.numbers.begin(), clip.numbers.end(), number);
            here.exact = &track.samples[gapless ? size_t(number - clip.numbers.front())
                                                : size_t(place - clip.numbers.begin())];
        } else {
            io::Moment moment;
            if (tie.by == Tie::By::timecode)
                moment.timecode = timecodeOf(clip, number, file), moment.rate = clip.rate;
            else
                moment.frame = number;
            here = tie.stream->timeline->at(moment);
        }
        if (here.gap) {
            if (found.why.empty()) found.why = tie.stream->name() + ": " + here.gap->said();
            continue;
        }
        const io::LensSample& sample = *here.sample();
        if (found.sample && !io::agree(found.sample->sample, sample))
            throw io::InputError(io::whereIs(track, sample),
                                 "contradicts " + found.sample->where + ": both are " + clip.name +
                                     "'s at frame " + std::to_string(number) +
                                     "; keep one, or name the clip in its own");
        if (!found.sample)
            found.sample = Sample{sample, io::whereIs(track, sample), track.path.string()};
    }
    return found;
}

std::optional<ClipLenses::Sample> ClipLenses::at(size_t clip, int64_t number,
                                                 const io::PlateFile& file) const {
    if (ties_[clip].empty()) return std::nullopt;
    Found found = find(clip, number, file);
    if (!found.sample)
        throw io::InputError(clips_[clip].name,
                             "no lens sample for frame " + std::to_string(number) + " (" +
                                 found.why +
                                 "); add the missing part of the track, or leave the "
                                 "frame out with --frames");
    return std::move(found.sample);
}

ClipLenses::Gap ClipLenses::gapsOf(size_t clip, int64_t first, int64_t last) const {
    Gap gap;
    if (ties_[clip].empty()) return gap;
    const auto& numbers = clips_[clip].numbers;
    for (auto number = std::lower_bound(numbers.begin(), numbers.end(), first);
         number != numbers.end() && *number <= last; ++number) {
        Found found = find(clip, *number, clips_[clip].first);
        if (found.sample) continue;
        if (gap.numbers.empty()) gap.why = std::move(found.why);
        gap.numbers.push_back(*number);
    }
    return gap;
}

}  // namespace plateloom::stitch
