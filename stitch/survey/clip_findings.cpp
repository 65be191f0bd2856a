#include "stitch/survey/clip_findings.h"

#include <algorithm>
#include <cmath>

#include "calib/focus.h"
#include "calib/said.h"
#include "io/numbered_files.h"

namespace plateloom::stitch {

namespace {

class ClipTelling {
public:
    explicit ClipTelling(const TakeClip& clip) : clip_(clip) {}

    void tell(FindingKind kind, bool grave, const std::string& what, const std::string& advice) {
        findings_.push_back(
            {kind, grave, {clip_.clip.name}, {}, {}, clip_.clip.name + ": " + what, advice});
    }
    void tell(FindingKind kind, bool grave, const std::vector<int64_t>& frames,
              const char* singular, const char* plural, const std::string& advice) {
        if (frames.empty()) return;
        tell(kind, grave,
             io::framesInWords(frames) + " " + (frames.size() == 1 ? singular : plural), advice);
    }
    [[nodiscard]] std::vector<Finding> findings() { return std::move(findings_); }

private:
    const TakeClip& clip_;
    std::vector<Finding> findings_;
};

std::vector<int64_t> together(std::vector<int64_t> a, const std::vector<int64_t>& b) {
    a.insert(a.end(), b.begin(), b.end());
    std::sort(a.begin(), a.end());
    a.erase(std::unique(a.begin(), a.end()), a.end());
    return a;
}

std::string slipInWords(const io::TimecodeSlip& slip) {
    return "from " + toString(slip.timecode_before) + " at frame " + std::to_string(slip.before) +
           " to " + toString(slip.timecode_after) + " at frame " + std::to_string(slip.after);
}

void tellTimecode(const TakeClip& clip, const io::ClipFaults& faults, ClipTelling& telling) {
    constexpr const char* kClock = "see that timecode runs in the camera and reaches the files";
    if (faults.timecode_stands)
        telling.tell(FindingKind::timecode, false,
                     "every frame bears the timecode " + toString(*clip.clip.first.timecode()),
                     kClock);
    telling.tell(FindingKind::timecode, false, faults.no_timecode, "has no timecode",
                 "have no timecode", kClock);
    if (faults.slips_at_random)
        telling.tell(FindingKind::timecode, false,
                     "its timecode does not run with its frame numbers, first " +
                         slipInWords(faults.slips.front()),
                     kClock);
    else
        for (const io::TimecodeSlip& slip : faults.slips)
            telling.tell(FindingKind::timecode, false, "its timecode steps " + slipInWords(slip),
                         "see whether the recorder dropped frames there; the take is tied by its "
                         "first frame");
}

// A ring that moves by more than this share over a take was turned.
constexpr double kStill = 0.01;

struct Ring {
    FindingKind kind;
    const char* name;
    std::optional<double> (*value)(const Plate&);
    const char* format;
};

std::string spanInWords(const Ring& ring, const std::vector<double>& values) {
    const auto [least, most] = std::minmax_element(values.begin(), values.end());
    return (ring.kind == FindingKind::focus ? calib::focusSpanInWords(values.front(), values.back())
                                            : said(ring.format, values.front(), values.back())) +
           (*least < std::min(values.front(), values.back()) ||
                    *most > std::max(values.front(), values.back())
                ? " and beyond"
                : "");
}

}  // namespace

std::vector<Finding> clipFindings(const TakeClip& clip, const io::ClipFaults& faults,
                                  const ClipStudy& study) {
    ClipTelling telling(clip);
    telling.tell(FindingKind::missing_plate, true, faults.missing, "is missing", "are missing",
                 "copy the card again; the panorama has a hole there, or shoot the take again");
    std::vector<int64_t> damaged;
    for (const auto& [number, why] : study.damaged) damaged.push_back(number);
    if (!damaged.empty())
        telling.tell(
            FindingKind::damaged, true, damaged, "can't be used", "can't be used",
            "copy the card again, or shoot the take again (" + study.damaged.front().second + ")");
    telling.tell(FindingKind::crushed, true, study.black, "is black", "are black",
                 "see the camera, its cable and its recorder, and shoot the take again");
    telling.tell(FindingKind::duplicate, false, together(faults.repeated, study.frozen),
                 "shows the frame before again", "show the frame before again",
                 "see whether the recorder dropped frames: what moves will stutter there");
    tellTimecode(clip, faults, telling);
    if (!clip.without_lens.empty()) {
        std::vector<int64_t> numbers = clip.without_lens;
        for (int64_t& number : numbers) number += clip.ahead;
        telling.tell(
            FindingKind::sample, true,
            "no lens sample for " + io::framesInWords(numbers) + " (" + clip.why_without_lens + ")",
            "see that the lens data was recorded, and add the missing part of the track");
    }
    return telling.findings();
}

std::vector<Finding> ringFindings(const Take& take, const std::vector<Moment>& moments) {
    constexpr Ring kRings[] = {
        {FindingKind::focus, "focus", [](const Plate& p) { return p.lens.focus_m; }, ""},
        {FindingKind::iris, "its iris",
         [](const Plate& p) { return p.lens.t_stop ? p.lens.t_stop : p.lens.f_stop; },
         "%.3g to %.3g"},
        {FindingKind::focal, "its focal length",
         [](const Plate& p) { return std::optional(p.lens.focal_mm); }, "%.4g to %.4g mm"},
    };
    std::vector<Finding> findings;
    for (size_t c = 0; c < take.clips.size(); ++c)
        for (const Ring& ring : kRings) {
            std::vector<double> values;
            for (const Moment& moment : moments)
                for (size_t i = 0; i < moment.plates.size(); ++i)
                    if (const auto value = ring.value(moment.plates[i]);
                        moment.clip[i] == int(c) && value)
                        values.push_back(*value);
            if (values.size() < 2) continue;
            const auto [least, most] = std::minmax_element(values.begin(), values.end());
            // A lens that breathes changes its focal length by less than a zoom does.
            const double still = ring.kind == FindingKind::focal ? 5 * kStill : kStill;
            if (!(*most > *least * (1 + still))) continue;
            const std::string& name = take.clips[c].clip.name;
            findings.push_back({ring.kind,
                                false,
                                {name},
                                {},
                                {},
                                name + ": " + ring.name + " moves during the take, from " +
                                    spanInWords(ring, values),
                                "nothing, where it was meant to and its lens data say so: each "
                                "frame has its own"});
        }
    return findings;
}

}  // namespace plateloom::stitch
