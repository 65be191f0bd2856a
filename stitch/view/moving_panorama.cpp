#include "stitch/view/moving_panorama.h"

#include <algorithm>

#include "io/file_name.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

bool sameGrid(const PanoramaGrid& a, const PanoramaGrid& b) {
    return a.projection == b.projection && a.width == b.width && a.height == b.height &&
           a.top_tan == b.top_tan && a.bottom_tan == b.bottom_tan;
}

// The first label of a second: 0 but where drop-frame leaves some out.
int firstLabel(io::Timecode label, const io::FrameRate& rate) {
    for (label.frames = 0; label.frames < rate.counting(); ++label.frames)
        if (exists(label, rate)) return label.frames;
    return 0;
}

// The label that shows at the same moment in another count: as far through its second, whose first
// labels may be left out in either.
io::Timecode labelAt(io::Timecode label, const io::FrameRate& from, const io::FrameRate& to,
                     bool drop_frame) {
    const int first_from = firstLabel(label, from), frames = label.frames;
    label.drop_frame = drop_frame;
    const int first_to = firstLabel(label, to);
    label.frames = from.counting() == to.counting()
                       ? std::max(frames, first_to)
                       : first_to + (std::max(frames, first_from) - first_from) *
                                        (to.counting() - first_to) / (from.counting() - first_from);
    return label;
}

std::string rangeOf(const io::Clip& clip) {
    std::string text =
        std::to_string(clip.numbers.front()) + " to " + std::to_string(clip.numbers.back());
    if (clip.start) text += ", from " + toString(*clip.start);
    return text;
}

}  // namespace

MovingPanorama::MovingPanorama(const std::filesystem::path& name, PanoramaClaim claim,
                               const std::string& colour_space, size_t cache_bytes, int64_t slip)
    : name_(name),
      claim_(claim),
      colour_space_(colour_space),
      cache_bytes_(cache_bytes),
      slip_(slip) {
    if (io::isMovieName(name))
        throw io::InputError(name.string(),
                             "is a movie: a panorama that moves is numbered pictures, "
                             "pano.####.exr");
    std::error_code error;
    if (!io::namesFrames(name.string()) || std::filesystem::exists(name, error)) {
        if (slip != 0)
            throw io::InputError("--slip " + std::to_string(slip),
                                 name.string() + " is a still; --slip needs a moving panorama");
        return;
    }
    io::Clips found =
        io::findClips({name.string()}, std::nullopt, colour_space, io::ClipsOf::panoramas);
    clip_ = std::move(found.clips.front());
    warnings_ = std::move(found.warnings);
}

std::vector<int64_t> MovingPanorama::numbers() const {
    return clip_ ? clip_->numbers : std::vector<int64_t>{};
}

std::vector<io::ShotFrame> MovingPanorama::frames() const {
    std::vector<io::ShotFrame> frames;
    for (const int64_t number : numbers()) {
        io::ShotFrame frame;
        frame.number = number;
        frame.rate = clip_->rate;
        if (clip_->start && clip_->rate)
            frame.timecode = io::timecodeOf(
                io::frameNumber(*clip_->start, *clip_->rate) + number - clip_->numbers.front(),
                *clip_->rate, clip_->start->drop_frame);
        frames.push_back(std::move(frame));
    }
    return frames;
}

bool MovingPanorama::tiesByTimecode(const std::vector<io::ShotFrame>& shot) const {
    return clip_->start && clip_->rate &&
           std::all_of(shot.begin(), shot.end(),
                       [](const auto& frame) { return frame.timecode.has_value(); });
}

int64_t MovingPanorama::numberAt(const io::ShotFrame& frame, bool by_timecode) const {
    if (!by_timecode) return frame.number + slip_;
    const io::FrameRate& rate = *clip_->rate;
    const bool drop_frame = clip_->start->drop_frame;
    const io::Timecode label =
        labelAt(*frame.timecode, frame.rate.value_or(rate), rate, drop_frame);
    const int64_t day = io::framesInADay(rate, drop_frame);
    int64_t since = io::frameNumber(label, rate) - io::frameNumber(*clip_->start, rate);
    since = (since % day + day) % day;
    if (since > day / 2) since -= day;
    return clip_->numbers.front() + since + slip_;
}

void MovingPanorama::tellRates(const io::ShotFrame& frame) {
    if (!frame.rate || frame.rate->counting() == clip_->rate->counting()) return;
    warnings_.push_back("the shot counts " + std::to_string(frame.rate->counting()) +
                        " frames a second, the panorama " +
                        std::to_string(clip_->rate->counting()) +
                        ": each frame has the panorama that shows at its moment");
}

std::vector<MovingPanorama::Choice> MovingPanorama::choicesFor(
    const std::vector<io::ShotFrame>& shot) {
    if (!clip_) return std::vector<Choice>(shot.size(), Choice{0, ""});
    const bool by_timecode = tiesByTimecode(shot);
    notes_.push_back(std::string("the shot's frames are tied to the panorama's by ") +
                     (by_timecode ? "timecode" : "number") +
                     (slip_ != 0 ? ", slipped by " + std::to_string(slip_) : std::string()));
    if (by_timecode && !shot.empty()) tellRates(shot.front());
    std::vector<Choice> choices;
    bool any = false;
    for (const io::ShotFrame& frame : shot) {
        const int64_t number = numberAt(frame, by_timecode);
        Choice choice;
        if (clip_->has(number))
            choice.number = number;
        else
            choice.why = "the panorama has no frame " + std::to_string(number);
        any = any || choice.number;
        choices.push_back(std::move(choice));
    }
    if (!any && !shot.empty()) {
        const int64_t wanted = numberAt(shot.front(), by_timecode);
        throw io::InputError(
            clip_->pattern,
            "has frames " + rangeOf(*clip_) + "; the shot begins at frame " +
                std::to_string(shot.front().number) +
                (shot.front().timecode ? ", " + toString(*shot.front().timecode) : std::string()) +
                ", and none of it is there: --slip " +
                std::to_string(slip_ + clip_->numbers.front() - wanted) +
                " puts its first frame on the panorama's first");
    }
    return choices;
}

std::filesystem::path MovingPanorama::pathOf(int64_t number) const {
    if (!clip_) return name_;
    const auto found = std::lower_bound(clip_->numbers.begin(), clip_->numbers.end(), number);
    return clip_->files[size_t(found - clip_->numbers.begin())];
}

const io::PanoramaReader& MovingPanorama::open(int64_t number) {
    if (reader_ && (!clip_ || opened_ == number)) return *reader_;
    const std::filesystem::path path = pathOf(number);
    if (clip_) (void)clip_->frame(number);  // still there, and of the first one's size
    reader_ = std::make_unique<io::PanoramaReader>(path, colour_space_, cache_bytes_);
    opened_ = number;
    const PanoramaGrid grid = gridOf(reader_->file(), claim_);
    if (grid_ && !sameGrid(*grid_, grid))
        throw io::InputError(path.string(),
                             "shows another part of the sphere than the panorama's other frames: "
                             "they have to be of one job");
    grid_ = grid;
    return *reader_;
}

}  // namespace plateloom::stitch
