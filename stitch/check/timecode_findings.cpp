#include <algorithm>
#include <cstdio>
#include <map>

#include "stitch/check/shoot_record.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

namespace {

struct Timed {
    std::string file, label;
    int64_t frame = 0;
    double seconds = 0;
};

std::string durationInWords(double seconds) {
    char text[40];
    if (seconds < 120)
        std::snprintf(text, sizeof text, "%.0f s", seconds);
    else
        std::snprintf(text, sizeof text, "%.0f min", seconds / 60);
    return text;
}

Finding timecodeFinding(std::vector<std::string> plates, const std::string& text,
                        const std::string& advice, bool grave) {
    return {FindingKind::timecode, grave, std::move(plates), {}, {}, text, advice};
}

std::vector<Timed> timedPlates(const std::vector<io::PlateFile>& files) {
    constexpr io::FrameRate kUsual{24, 1};
    std::vector<Timed> timed;
    for (const auto& file : files) {
        const auto timecode = file.timecode();
        if (!timecode) continue;
        const io::FrameRate rate = file.frame_rate.value_or(kUsual);
        const int64_t frame = io::frameNumber(*timecode, rate);
        timed.push_back({file.path.filename().string(), io::toString(*timecode), frame,
                         double(frame) / rate.perSecond()});
    }
    return timed;
}

void addDoubles(const std::vector<Timed>& timed, std::vector<Finding>& findings) {
    std::map<std::string, std::vector<std::string>> of_label;
    for (const auto& plate : timed) of_label[plate.label].push_back(plate.file);
    for (const auto& [label, plates] : of_label)
        if (plates.size() > 1)
            findings.push_back(timecodeFinding(
                plates, inWords(plates) + " bear the same timecode, " + label,
                "see that the timecode runs; a lens track can't tell these plates apart", true));
}

// Intervals far longer than the others: plates that were shot and are not here, perhaps.
void addGaps(std::vector<Timed> timed, std::vector<Finding>& findings) {
    constexpr size_t kEnough = 5;
    constexpr double kTimesUsual = 5, kLeast_s = 60;
    if (timed.size() < kEnough) return;
    std::stable_sort(timed.begin(), timed.end(),
                     [](const Timed& l, const Timed& r) { return l.seconds < r.seconds; });
    std::vector<double> intervals;
    for (size_t i = 1; i < timed.size(); ++i)
        intervals.push_back(timed[i].seconds - timed[i - 1].seconds);
    std::vector<double> sorted = intervals;
    std::sort(sorted.begin(), sorted.end());
    const double usual = sorted[sorted.size() / 2];
    for (size_t i = 0; i < intervals.size(); ++i) {
        if (intervals[i] < kLeast_s || intervals[i] < kTimesUsual * usual) continue;
        findings.push_back(timecodeFinding(
            {timed[i].file, timed[i + 1].file},
            "a gap of " + durationInWords(intervals[i]) + " in the timecode between " +
                timed[i].file + " and " + timed[i + 1].file + ", where " + durationInWords(usual) +
                " is usual",
            "see whether plates that were shot in between are missing here", false));
    }
}

void addStepsBack(const std::vector<Timed>& timed, std::vector<Finding>& findings) {
    std::vector<size_t> back;
    for (size_t i = 1; i < timed.size(); ++i)
        if (timed[i].frame < timed[i - 1].frame) back.push_back(i);
    // Plates in another order than they were shot in say nothing of the clock.
    if (back.empty() || 3 * back.size() > timed.size()) return;
    for (const size_t i : back)
        findings.push_back(timecodeFinding(
            {timed[i - 1].file, timed[i].file},
            "the timecode steps back from " + timed[i - 1].label + " on " + timed[i - 1].file +
                " to " + timed[i].label + " on " + timed[i].file,
            "see whether the camera's clock was set again, or files were renamed", false));
}

}  // namespace

std::vector<Finding> timecodeFindings(const std::vector<io::PlateFile>& files) {
    std::vector<Finding> findings;
    const auto timed = timedPlates(files);
    const bool all_alike =
        !timed.empty() && std::all_of(timed.begin(), timed.end(), [&](const Timed& plate) {
            return plate.label == timed.front().label;
        });
    // Cameras that rolled together, or an exporter's 00:00:00:00.
    if (timed.size() < 2 || all_alike) return findings;
    addDoubles(timed, findings);
    addStepsBack(timed, findings);
    addGaps(timed, findings);
    std::vector<std::string> without;
    for (const auto& file : files)
        if (!file.timecode()) without.push_back(file.path.filename().string());
    if (!without.empty())
        findings.push_back(timecodeFinding(without,
                                           inWords(without) + " without a timecode, while "
                                                              "the others have one",
                                           "see that the camera writes it", false));
    return findings;
}

}  // namespace plateloom::stitch
