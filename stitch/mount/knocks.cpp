#include "stitch/mount/knocks.h"

#include <algorithm>
#include <cmath>

#include "calib/angle.h"
#include "calib/median.h"
#include "calib/rotation_vector.h"
#include "calib/said.h"

namespace plateloom::stitch {

namespace {

// Frames on either side that are compared: a knock lasts.
constexpr size_t kSide = 8;
constexpr size_t kLeastSide = 3;
constexpr double kLeast_px = 0.25;
constexpr double kSurelyKnocked_sigmas = 6;
// A knock is sudden: by so many times what the camera does from frame to frame anyway, within one.
// A head that sways goes as far in some frames, never in one.
constexpr double kSudden = 4;

struct At {
    int64_t frame = 0;
    Vector3d apart_px;
};

Vector3d medianOf(const std::vector<At>& series, size_t from, size_t to) {
    Vector3d out;
    for (int axis = 0; axis < 3; ++axis) {
        std::vector<double> values;
        for (size_t i = from; i < to; ++i) values.push_back(series[i].apart_px[axis]);
        out[axis] = calib::median(values);
    }
    return out;
}

// What a camera did from the frame before to this one, a frame that was not seen counted in.
Vector3d stepTo(const std::vector<At>& series, size_t i) {
    return (series[i].apart_px - series[i - 1].apart_px) /
           double(series[i].frame - series[i - 1].frame);
}

// What it does from frame to frame without being knocked.
double noiseOf(const std::vector<At>& series) {
    std::vector<double> steps;
    for (size_t i = 1; i < series.size(); ++i) steps.push_back(stepTo(series, i).norm());
    return calib::median(steps);
}

struct Step {
    size_t at = 0;
    Vector3d by_px = Vector3d::Zero();
};

// The largest step between the frames before and after, where it is one.
std::optional<Step> largestStep(const std::vector<At>& series, double noise_px) {
    const double least_px = std::max(kLeast_px, kSurelyKnocked_sigmas * noise_px);
    std::optional<Step> best;
    for (size_t i = kLeastSide; i + kLeastSide <= series.size(); ++i) {
        const Vector3d before = medianOf(series, i > kSide ? i - kSide : 0, i);
        const Vector3d after = medianOf(series, i, std::min(series.size(), i + kSide));
        const Vector3d by = after - before;
        if (by.norm() < least_px || (best && by.norm() <= best->by_px.norm())) continue;
        best = Step{i, by};
    }
    if (!best) return best;
    // Medians hold the step's height over some frames: where it is, the frames themselves say.
    double most = 0;
    const size_t begin = best->at > kSide ? best->at - kSide : 1;
    const size_t end = std::min(series.size(), best->at + kSide);
    for (size_t i = begin; i < end; ++i) {
        const double along = stepTo(series, i).dot(best->by_px.normalized());
        if (along > most) most = along, best->at = i;
    }
    if (most < kSudden * noise_px) return std::nullopt;
    return best;
}

}  // namespace

std::vector<Knock> findKnocks(const std::vector<ShakeFrame>& shake,
                              const std::vector<double>& px_per_rad) {
    std::vector<Knock> knocks;
    for (size_t clip = 0; clip < px_per_rad.size(); ++clip) {
        std::vector<At> series;
        for (const auto& frame : shake)
            if (frame.known && frame.apart_corners[clip] > 0)
                series.push_back({frame.frame, px_per_rad[clip] * frame.apart_rad[clip]});
        // One step taken out of the series, the next one shows.
        constexpr int kMost = 8;
        const double noise_px = noiseOf(series);
        std::vector<Knock> own;
        for (int n = 0; n < kMost; ++n) {
            const auto step = largestStep(series, noise_px);
            if (!step) break;
            own.push_back({int(clip), series[step->at].frame,
                           calib::rotationOf(step->by_px / px_per_rad[clip])});
            for (size_t i = step->at; i < series.size(); ++i) series[i].apart_px -= step->by_px;
        }
        std::sort(own.begin(), own.end(),
                  [](const Knock& l, const Knock& r) { return l.frame < r.frame; });
        knocks.insert(knocks.end(), own.begin(), own.end());
    }
    return knocks;
}

std::string saidOf(const Knock& knock, const Take& take, double px_per_rad) {
    const double angle_deg = calib::angleBetween_deg(Matrix3d::Identity(), knock.beforeFromAfter);
    std::string when = "frame " + std::to_string(knock.frame);
    if (const auto timecode = take.timecodeAt(knock.frame))
        when += " (" + io::toString(*timecode) + ")";
    return take.clips[size_t(knock.clip)].clip.name + " was knocked at " + when +
           said(": it turned by %.3f degrees (%.1f px) against the others", angle_deg,
                angle_deg * calib::kRadPerDeg * px_per_rad);
}

}  // namespace plateloom::stitch
