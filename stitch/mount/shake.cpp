#include "stitch/mount/shake.h"

#include <tbb/parallel_for.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "calib/median.h"
#include "calib/pose.h"
#include "calib/rotation_vector.h"
#include "stitch/ties/corners.h"
#include "stitch/ties/overlap.h"
#include "stitch/ties/refine_ties.h"

namespace plateloom::stitch {

namespace {

constexpr int kCorners = 80;       // looked for on each camera's frame
constexpr double kSearch_px = 10;  // beyond what the frames before predict
// Where that finds nothing (someone ran into it, or it swings and had been hidden), pictures this
// wide tell where to look.
constexpr int kGlance_px = 160;
constexpr int kPatch_px = 21;
constexpr int kLeastCorners = 6;
// Fewer of the reference's corners than this and it has done its time.
constexpr double kWornShare = 0.4;

// Markley 1988: R = U diag(1, 1, det U det V) V' of sum w before after'.
Matrix3d weightedTurn(const std::vector<DirectionPair>& pairs, const std::vector<double>& weight) {
    Matrix3d sum = Matrix3d::Zero();
    for (size_t i = 0; i < pairs.size(); ++i)
        sum += weight[i] * pairs[i].before * pairs[i].after.transpose();
    return calib::nearestRotation(sum);
}

double off_px(const Matrix3d& turn, const DirectionPair& pair) {
    return (turn * pair.after - pair.before).norm() * pair.px_per_rad;
}

// A direction tells two of a small turn's three axes: its share of the information is the projector
// across it, in radians of the pairs' common scatter along one axis.
double sigmaOf_rad(const std::vector<DirectionPair>& pairs, const std::vector<double>& off,
                   double most_px) {
    Matrix3d information = Matrix3d::Zero();
    double squares = 0, count = 0;
    for (size_t i = 0; i < pairs.size(); ++i) {
        if (off[i] > most_px) continue;
        const double px2 = pairs[i].px_per_rad * pairs[i].px_per_rad;
        information += px2 * (Matrix3d::Identity() - pairs[i].before * pairs[i].before.transpose());
        squares += off[i] * off[i];
        ++count;
    }
    if (count < 3) return 0;
    // Two figures a pair, three of them spent on the turn.
    const double variance_px2 = squares / (2 * count - 3);
    return std::sqrt(variance_px2 * information.inverse().trace());
}

// Phase correlation (Kuglin and Hines 1975) of small pictures: about how far what lies in the
// middle of the one has gone in the other, however far that is; the camera's roll is taken as it
// was.
Matrix3d glancedTurn(const ShakeView& then, const ShakeView& now) {
    const auto small = [](const LightPicture& light) {
        const double scale = double(kGlance_px) / light.log_light.cols;
        cv::Mat out;
        cv::resize(light.log_light, out,
                   {kGlance_px, std::max(8, int(std::lround(scale * light.log_light.rows)))}, 0, 0,
                   cv::INTER_AREA);
        return out;
    };
    const cv::Mat before = small(*then.light), after = small(*now.light);
    cv::Mat window;
    cv::createHanningWindow(window, before.size(), CV_32F);
    const cv::Point2d shift = cv::phaseCorrelate(before, after, window);
    const auto& sensor = then.lens.sensor();
    const Vector2d middle(0.5 * sensor.width_px, 0.5 * sensor.height_px);
    const Vector2d there = middle + Vector2d(shift.x * sensor.width_px / before.cols,
                                             shift.y * sensor.height_px / before.rows);
    const auto from = then.lens.rayFromRecorded(middle), to = now.lens.rayFromRecorded(there);
    if (!from || !to) return Matrix3d::Identity();
    return calib::shortestTurn(*from, *to);
}

}  // namespace

FoundTurn turnBetween(const std::vector<DirectionPair>& pairs) {
    constexpr int kRounds = 12;
    FoundTurn found;
    if (pairs.size() < 3) return found;
    std::vector<double> weight(pairs.size(), 1), off(pairs.size());
    for (int round = 0; round < kRounds; ++round) {
        found.beforeFromAfter = weightedTurn(pairs, weight);
        for (size_t i = 0; i < pairs.size(); ++i) off[i] = off_px(found.beforeFromAfter, pairs[i]);
        const double scale = std::max(0.05, 2 * calib::median(off) / 1.1774);
        for (size_t i = 0; i < pairs.size(); ++i) {
            const double by_sigma = 1 / (pairs[i].sigma_px * pairs[i].sigma_px);
            const double px2 = pairs[i].px_per_rad * pairs[i].px_per_rad;
            weight[i] = px2 * by_sigma / (1 + (off[i] / scale) * (off[i] / scale));
        }
    }
    // Pairs that agree with nothing agree on nothing, however wide they scatter.
    const double most = std::clamp(5 * calib::median(off), 0.3, 2.0);
    double sum = 0;
    for (const double one : off) {
        if (one > most) continue;
        ++found.agreeing;
        sum += one * one;
    }
    found.rms_px = found.agreeing ? std::sqrt(sum / found.agreeing) : 0;
    found.sigma_rad = sigmaOf_rad(pairs, off, most);
    return found;
}

// A clip's frame that later ones are compared with.
struct ShakeTracker::Reference {
    ShakeView view;
    std::vector<Tie> corners;  // px_a is set
    Matrix3d firstFromMount;   // the mount's turn at that frame
    Vector3d apart_rad;        // and the camera's own
    int first_found = -1;      // corners found in the frame after it

    [[nodiscard]] Matrix3d firstFromCamera() const {
        return firstFromMount * view.mountFromCamera * calib::rotationOf(apart_rad);
    }
};

ShakeTracker::ShakeTracker(int clips, bool each_alone)
    : each_alone_(each_alone),
      reference_(size_t(clips)),
      last_apart_(size_t(clips), Vector3d::Zero()),
      apart_before_(last_apart_),
      told_(size_t(clips), 0) {}
ShakeTracker::~ShakeTracker() = default;

void ShakeTracker::refer(const ShakeView& view, const Matrix3d& firstFromMount,
                         const Vector3d& apart_rad) {
    auto reference = std::make_unique<Reference>();
    reference->view = view;
    reference->firstFromMount = firstFromMount;
    reference->apart_rad = apart_rad;
    const auto& sensor = view.lens.sensor();
    const double margin = kPatch_px + kSearch_px;
    const auto inside = [&](const Vector2d& px) {
        return px.x() > margin && px.y() > margin && px.x() < sensor.width_px - margin &&
               px.y() < sensor.height_px - margin;
    };
    for (const auto& corner : spreadCorners(*view.light, inside, kCorners, kPatch_px)) {
        Tie tie;
        tie.b = 1;
        tie.px_a = corner.px;
        reference->corners.push_back(tie);
    }
    reference_[size_t(view.clip)] = std::move(reference);
}

// A camera on its own goes on as it went; on a mount it has no way of its own, only noise.
Matrix3d ShakeTracker::predictedApart(size_t clip) const {
    const Matrix3d last = calib::rotationOf(last_apart_[clip]);
    if (!each_alone_) return last;
    return last * calib::rotationOf(apart_before_[clip]).transpose() * last;
}

// Where a camera looks now, by the frames before: now from the reference.
Matrix3d ShakeTracker::predicted(const ShakeView& view) const {
    const Matrix3d firstFromNow =
        last_ * step_ * view.mountFromCamera * predictedApart(size_t(view.clip));
    return firstFromNow.transpose() * reference_[size_t(view.clip)]->firstFromCamera();
}

// The reference's corners in a frame: directions in the mount as it stood at the reference, and
// as it stands now.
ShakeTracker::Seen ShakeTracker::look(const ShakeView& view, const Matrix3d& nowFromThen) const {
    Seen seen;
    seen.clip = view.clip;
    const Reference& reference = *reference_[size_t(view.clip)];
    const Matrix3d firstFromThen = reference.firstFromCamera();
    const auto transfer = transferAToB(reference.view.lens, view.lens, nowFromThen);
    std::vector<Tie> ties;
    for (Tie tie : reference.corners) {
        const auto there = transfer(tie.px_a);
        if (!there) continue;
        tie.px_b = *there;
        ties.push_back(tie);
    }
    seen.asked = int(reference.corners.size());
    RefineSettings settings;
    settings.search_px = kSearch_px;
    settings.patch_px = kPatch_px;
    for (const auto& tie :
         refineGivenTies(ties, *reference.view.light, *view.light, transfer, settings)) {
        const auto then = reference.view.lens.rayFromRecorded(tie.px_a);
        const auto now = view.lens.rayFromRecorded(tie.px_b);
        if (!then || !now) continue;
        seen.pairs.push_back({firstFromThen * *then, view.mountFromCamera * *now,
                              view.lens.focal_px(), tie.sigma_px});
    }
    return seen;
}

ShakeFrame ShakeTracker::add(int64_t frame, const std::vector<ShakeView>& views) {
    ShakeFrame out;
    out.frame = frame;
    out.apart_rad.assign(reference_.size(), Vector3d::Zero());
    out.apart_corners.assign(reference_.size(), 0);
    out.apart_sigma_rad.assign(reference_.size(), 0);
    std::vector<Seen> seen(views.size());
    std::vector<FoundTurn> alone(views.size());  // each camera by itself
    tbb::parallel_for(size_t(0), views.size(), [&](size_t i) {
        const auto& reference = reference_[size_t(views[i].clip)];
        if (!reference) return;
        const auto lookFrom = [&](const Matrix3d& nowFromThen) {
            seen[i] = look(views[i], nowFromThen);
            alone[i] = turnBetween(seen[i].pairs);
        };
        lookFrom(predicted(views[i]));
        if (alone[i].agreeing < kLeastCorners && !reference->corners.empty())
            lookFrom(glancedTurn(reference->view, views[i]));
    });
    const bool first = std::none_of(reference_.begin(), reference_.end(),
                                    [](const auto& reference) { return reference != nullptr; });

    // The turn that most of them share.
    std::vector<DirectionPair> all;
    for (size_t i = 0; i < views.size(); ++i) {
        if (!each_alone_ && alone[i].agreeing >= kLeastCorners)
            all.insert(all.end(), seen[i].pairs.begin(), seen[i].pairs.end());
    }
    FoundTurn mount = turnBetween(all);
    if (first) {
        out.known = true;
    } else if (each_alone_) {
        out.known = true;
    } else if (mount.agreeing >= kLeastCorners) {
        out.known = true;
        out.corners = mount.agreeing;
        out.firstFromMount = mount.beforeFromAfter;
    } else {
        out.firstFromMount = last_;
    }
    for (size_t i = 0; i < views.size(); ++i) {
        if (alone[i].agreeing < kLeastCorners || !out.known) continue;
        const auto clip = size_t(views[i].clip);
        // first = turn x mount x apart: what this camera's own turn has beyond the mount's.
        const Matrix3d& camera = views[i].mountFromCamera;
        out.apart_rad[clip] =
            calib::rotationVector(camera.transpose() * out.firstFromMount.transpose() *
                                  alone[i].beforeFromAfter * camera);
        out.apart_corners[clip] = alone[i].agreeing;
        out.apart_sigma_rad[clip] = alone[i].sigma_rad;
        apart_before_[clip] = told_[clip] ? last_apart_[clip] : out.apart_rad[clip];
        last_apart_[clip] = out.apart_rad[clip];
        told_[clip] = 1;
    }
    if (!first && out.known && !each_alone_) {
        step_ = last_.transpose() * out.firstFromMount;
        last_ = out.firstFromMount;
    }
    for (size_t i = 0; i < views.size(); ++i) {
        const auto clip = size_t(views[i].clip);
        auto& reference = reference_[clip];
        const int found = alone[i].agreeing;
        if (reference && reference->first_found < 0) reference->first_found = found;
        const bool worn = reference && (found < kWornShare * reference->first_found ||
                                        int(reference->corners.size()) < kLeastCorners);
        // A black or frozen frame is no reference: only one that was seen itself. Where nothing was
        // told yet the first frame may have been such a one, and nothing is lost with it.
        if (!reference || (worn && (found >= kLeastCorners || reference->corners.empty())) ||
            (found < kLeastCorners && !told_[clip]))
            refer(views[i], out.firstFromMount, out.apart_rad[clip]);
        // What a camera's turns are told from has no turn itself, and no doubt about that.
        if (!told_[clip]) out.apart_corners[clip] = int(reference_[clip]->corners.size());
    }
    return out;
}

}  // namespace plateloom::stitch
