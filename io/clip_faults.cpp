#include "io/clip_faults.h"

#include <algorithm>
#include <array>
#include <map>
#include <system_error>

#include "io/input_error.h"
#include "io/numbered_files.h"
#include "io/twin_files.h"

namespace plateloom::io {

namespace {

constexpr size_t kMostHeaders = 64, kMostUntimed = 8;
constexpr size_t kMostSlips = 8;

std::vector<int64_t> missingOf(const Clip& clip) {
    std::vector<int64_t> missing;
    for (size_t i = 1; i < clip.numbers.size(); ++i)
        for (int64_t number = clip.numbers[i - 1] + 1; number < clip.numbers[i]; ++number)
            missing.push_back(number);
    return missing;
}

// Compressed frames are hardly ever of one size, so that next to nothing is read.
std::vector<int64_t> repeatedOf(const Clip& clip) {
    std::vector<int64_t> repeated;
    std::uintmax_t size_before = 0;
    for (size_t i = 0; i < clip.files.size(); ++i) {
        std::error_code error;
        const std::uintmax_t size = std::filesystem::file_size(clip.files[i], error);
        if (i > 0 && !error && size == size_before &&
            firstTwins({clip.files[i - 1], clip.files[i]})[1] == 0)
            repeated.push_back(clip.numbers[i]);
        size_before = error ? 0 : size;
    }
    return repeated;
}

// Headers of some frames, read where they are asked for, their timecodes against the numbers.
class HeaderRun {
public:
    explicit HeaderRun(const Clip& clip)
        : clip_(clip),
          timed_(clip.rate && clip.first.timecode()),
          rate_(clip.rate.value_or(FrameRate{})) {}

    ClipFaults look() {
        const size_t count = clip_.numbers.size();
        std::vector<size_t> at;
        const size_t most = timed_ ? kMostHeaders : kMostUntimed;
        for (size_t k = 0; k < std::min(count, most); ++k)
            at.push_back(count <= most ? k : k * (count - 1) / (most - 1));
        std::vector<size_t> with;
        for (const size_t i : at) {
            const size_t refused = faults_.refused.size();
            if (timecodeAt(i))
                with.push_back(i);
            else if (timed_ && faults_.refused.size() == refused)
                faults_.no_timecode.push_back(clip_.numbers[i]);
        }
        if (!timed_) return faults_;
        faults_.timecode_stands = standsStill(with);
        if (faults_.timecode_stands) return faults_;
        for (size_t k = 1; k < with.size(); ++k) narrow(with[k - 1], with[k]);
        return faults_;
    }

private:
    std::optional<Timecode> timecodeAt(size_t index) {
        const auto [known, is_new] = known_.try_emplace(index);
        if (!is_new) return known->second;
        try {
            known->second = clip_.frame(clip_.numbers[index]).timecode();
        } catch (const InputError& error) {
            faults_.refused.emplace_back(clip_.numbers[index], error.what());
        }
        if (known->second && !exists(*known->second, rate_)) known->second.reset();
        return known->second;
    }

    [[nodiscard]] bool standsStill(const std::vector<size_t>& with) {
        return with.size() > 1 && std::all_of(with.begin(), with.end(), [&](size_t i) {
                   return timecodeAt(i) == timecodeAt(with.front());
               });
    }

    // Frames by which the timecode gained on the numbers from one frame to another.
    [[nodiscard]] int64_t gained(size_t from, size_t to) {
        const auto a = *timecodeAt(from), b = *timecodeAt(to);
        const int64_t day = framesInADay(rate_, b.drop_frame);
        const int64_t numbers = clip_.numbers[to] - clip_.numbers[from];
        int64_t labels = frameNumber(b, rate_) - frameNumber(a, rate_) - numbers;
        labels = (labels % day + day) % day;  // midnight is no slip
        return labels > day / 2 ? labels - day : labels;
    }

    void narrow(size_t from, size_t to) {
        if (gained(from, to) == 0) return;
        if (faults_.slips.size() == kMostSlips) {
            faults_.slips_at_random = true;
            return;
        }
        const size_t middle = (from + to) / 2;
        if (middle == from || !timecodeAt(middle)) {
            faults_.slips.push_back({clip_.numbers[from], clip_.numbers[to], *timecodeAt(from),
                                     *timecodeAt(to), gained(from, to)});
            return;
        }
        narrow(from, middle);
        narrow(middle, to);
    }

    const Clip& clip_;
    bool timed_;
    FrameRate rate_;
    std::map<size_t, std::optional<Timecode>> known_;
    ClipFaults faults_;
};

std::string inWords(const TimecodeSlip& slip) {
    return "frame " + std::to_string(slip.after) + " is at " + toString(slip.timecode_after) +
           " and frame " + std::to_string(slip.before) + " at " + toString(slip.timecode_before);
}

}  // namespace

ClipFaults faultsOf(const Clip& clip) {
    ClipFaults faults;
    if (!clip.movie) faults = HeaderRun(clip).look();
    faults.missing = missingOf(clip);
    faults.repeated = repeatedOf(clip);
    return faults;
}

std::vector<std::string> inWords(const ClipFaults& faults, const Clip& clip) {
    std::vector<std::string> lines;
    const auto tell = [&](const std::string& what) { lines.push_back(clip.name + ": " + what); };
    const auto are = [](const std::vector<int64_t>& numbers) {
        return numbers.size() == 1 ? " is " : " are ";
    };
    if (!faults.missing.empty())
        tell(framesInWords(faults.missing) + are(faults.missing) + "missing (it has " +
             std::to_string(clip.numbers.front()) + " to " + std::to_string(clip.numbers.back()) +
             ")");
    if (!faults.repeated.empty())
        tell(framesInWords(faults.repeated) +
             (faults.repeated.size() == 1 ? " repeats" : " repeat") +
             " the frame before, byte for byte");
    if (!faults.refused.empty())
        lines.push_back(faults.refused.front().second +
                        (faults.refused.size() > 1
                             ? " (and " + std::to_string(faults.refused.size() - 1) +
                                   " more frames of those looked at can't be used)"
                             : std::string()));
    if (faults.timecode_stands)
        tell("every frame says " + toString(*clip.first.timecode()) +
             ": such a timecode tells nothing and is not used");
    if (!faults.no_timecode.empty())
        tell(framesInWords(faults.no_timecode) +
             (faults.no_timecode.size() == 1 ? " has" : " have") +
             " no timecode, while the first frame has one");
    for (const TimecodeSlip& slip : faults.slips) {
        if (&slip != &faults.slips.front() && faults.slips_at_random) break;
        const bool doubled = slip.timecode_before == slip.timecode_after;
        tell(std::string(doubled ? "a timecode is there twice: "
                                 : "the timecode does not run with the frame numbers: ") +
             inWords(slip) +
             (faults.slips_at_random
                  ? "; and so in more than " + std::to_string(kMostSlips) + " places"
                  : std::string()));
    }
    return lines;
}

std::optional<FrameRate> rateByTimecode(const Clip& clip) {
    if (clip.numbers.size() < 2) return std::nullopt;
    const auto first = clip.first.timecode();
    std::optional<Timecode> last;
    try {
        last = clip.frame(clip.numbers.back()).timecode();
    } catch (const InputError&) {
        return std::nullopt;
    }
    if (!first || !last) return std::nullopt;
    std::optional<FrameRate> found;
    for (const FrameRate rate :
         {FrameRate{24, 1}, FrameRate{25, 1}, FrameRate{30, 1}, FrameRate{30000, 1001}}) {
        if (last->drop_frame != (rate.denom == 1001)) continue;
        if (!exists(*first, rate) || !exists(*last, rate)) continue;
        const int64_t day = framesInADay(rate, last->drop_frame);
        const int64_t labels = frameNumber(*last, rate) - frameNumber(*first, rate);
        if ((labels + day) % day != (clip.numbers.back() - clip.numbers.front()) % day) continue;
        if (found) return std::nullopt;
        found = rate;
    }
    return found;
}

}  // namespace plateloom::io
