#include "stitch/clips/clip_times.h"

#include <algorithm>

#include "calib/said.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

std::string perSecond(const io::FrameRate& rate) {
    return said("%.6g", rate.perSecond());
}

std::string rangeInWords(const io::Clip& clip) {
    std::string text = clip.name + " has frames " + std::to_string(clip.numbers.front()) + " to " +
                       std::to_string(clip.numbers.back());
    if (clip.start) text += " from " + toString(*clip.start);
    return text;
}

std::string joined(const std::vector<std::string>& parts, const char* between) {
    std::string text;
    for (const std::string& part : parts) text += (text.empty() ? "" : between) + part;
    return text;
}

std::optional<io::FrameRate> commonRate(const std::vector<io::Clip>& clips) {
    const io::Clip* first = nullptr;
    for (const io::Clip& clip : clips) {
        if (!clip.rate) continue;
        if (!first) first = &clip;
        if (*clip.rate != *first->rate)
            throw io::InputError(clip.pattern,
                                 "runs at " + perSecond(*clip.rate) + " frames a second and " +
                                     first->name + " at " + perSecond(*first->rate) +
                                     ": their frames do not show the same moments; give clips of "
                                     "one rate");
    }
    return first ? first->rate : std::nullopt;
}

void checkOffsets(const std::vector<io::Clip>& clips,
                  const std::map<std::string, int64_t>& offsets) {
    for (const auto& [name, frames] : offsets) {
        const bool known =
            std::any_of(clips.begin(), clips.end(),
                        [&, &wanted = name](const auto& c) { return c.name == wanted; });
        if (known) continue;
        std::vector<std::string> names;
        for (const io::Clip& clip : clips) names.push_back(clip.name);
        throw io::InputError("--offset " + name + "=" + std::to_string(frames),
                             "no clip has this name; there are " + joined(names, ", "));
    }
}

// Whether the clips are tied by timecode.
bool byTimecode(const std::vector<io::Clip>& clips, Rolled rolled, Sync sync) {
    if (rolled == Rolled::in_turn || sync == Sync::first_frame || clips.size() < 2) return false;
    std::vector<std::string> with, without;
    for (const io::Clip& clip : clips) (clip.start ? with : without).push_back(clip.name);
    if (!with.empty() && !without.empty())
        throw io::InputError(joined(without, ", "),
                             std::string(without.size() > 1 ? "have" : "has") +
                                 " no timecode, but " + joined(with, ", ") +
                                 (with.size() > 1 ? " have" : " has") +
                                 " one: leave it out, or tie all clips by their first frames with "
                                 "--sync first-frame (and --offset CLIP=FRAMES)");
    return without.empty();
}

// Frames from one timecode to another, the shorter way round the day.
int64_t framesBetween(const io::Timecode& from, const io::Timecode& to, const io::FrameRate& rate) {
    const int64_t day = io::framesInADay(rate, to.drop_frame);
    int64_t frames = (io::frameNumber(to, rate) - io::frameNumber(from, rate)) % day;
    if (frames > day / 2) frames -= day;
    if (frames < -day / 2) frames += day;
    return frames;
}

void addOverlap(const std::vector<io::Clip>& clips, const io::FrameRate& rate, ClipTimes* times) {
    if (clips.size() < 2) return;
    for (const io::Clip& clip : clips)
        if (!clip.start) return;
    for (size_t i = 0; i < clips.size(); ++i)
        for (size_t j = i + 1; j < clips.size(); ++j) {
            const int64_t apart = framesBetween(*clips[i].start, *clips[j].start, rate);
            const io::Clip& earlier = apart >= 0 ? clips[i] : clips[j];
            if (std::abs(apart) > earlier.numbers.back() - earlier.numbers.front()) continue;
            times->warnings.push_back(
                "the timecodes of " + clips[i].name + " and " + clips[j].name +
                " overlap, as if two cameras had rolled together; as they were shot in turn they "
                "are tied by their first frames all the same (--clips array ties them by "
                "timecode)");
            return;
        }
}

void findRange(const std::vector<io::Clip>& clips, ClipTimes* times) {
    times->first = clips.front().numbers.front();
    times->last = clips.front().numbers.back();
    bool alike = true;
    for (size_t i = 0; i < clips.size(); ++i) {
        const int64_t first = clips[i].numbers.front() - times->ahead[i];
        const int64_t last = clips[i].numbers.back() - times->ahead[i];
        alike = alike && first == times->first && last == times->last;
        times->first = std::max(times->first, first);
        times->last = std::min(times->last, last);
    }
    std::vector<std::string> ranges;
    for (size_t i = 0; i < clips.size(); ++i)
        ranges.push_back(rangeInWords(clips[i]) +
                         (times->ahead[i] == 0 || i == 0
                              ? std::string()
                              : " (" + std::to_string(clips[i].numbers.front() - times->ahead[i]) +
                                    " to " +
                                    std::to_string(clips[i].numbers.back() - times->ahead[i]) +
                                    " as " + clips.front().name + " counts)"));
    if (times->first > times->last)
        throw io::InputError("", "the clips have no frame in common: " + joined(ranges, ", ") +
                                     "; give takes that rolled together, correct one with --offset "
                                     "CLIP=FRAMES, or tie them by their first frames with --sync "
                                     "first-frame");
    const int64_t frames = times->last - times->first + 1;
    const std::string range = "frames " + std::to_string(times->first) + " to " +
                              std::to_string(times->last) + " (" + std::to_string(frames) + ")";
    if (alike)
        times->notes.push_back(range + " of " + std::to_string(clips.size()) +
                               (clips.size() == 1 ? " clip" : " clips"));
    else
        times->warnings.push_back("the clips do not have the same range: " + joined(ranges, ", ") +
                                  "; what all of them have is used, " + range);
}

}  // namespace

ClipTimes timesOf(const std::vector<io::Clip>& clips, Rolled rolled, Sync sync,
                  const std::map<std::string, int64_t>& offsets) {
    ClipTimes times;
    times.rate = commonRate(clips);
    checkOffsets(clips, offsets);
    constexpr io::FrameRate kAssumed{24, 1};
    const io::FrameRate rate = times.rate.value_or(kAssumed);
    const bool timed = byTimecode(clips, rolled, sync);
    const auto offsetOf = [&](const io::Clip& clip) {
        const auto found = offsets.find(clip.name);
        return found == offsets.end() ? 0 : found->second;
    };
    const io::Clip& lead = clips.front();
    for (const io::Clip& clip : clips) {
        const int64_t later = timed ? framesBetween(*lead.start, *clip.start, rate) : 0;
        times.ahead.push_back(clip.numbers.front() - lead.numbers.front() - later - offsetOf(clip) +
                              offsetOf(lead));
    }
    if (clips.size() > 1) {
        times.notes.push_back(std::to_string(clips.size()) + " clips tied in time by " +
                              (timed ? "timecode" : "their first frames"));
        if (timed && !times.rate)
            times.warnings.push_back(
                "no clip says its frame rate; its timecodes are taken to "
                "count 24 frames a second");
    }
    if (rolled == Rolled::in_turn && sync == Sync::automatic) addOverlap(clips, rate, &times);
    findRange(clips, &times);
    return times;
}

}  // namespace plateloom::stitch
