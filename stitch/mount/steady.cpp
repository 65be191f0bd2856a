#include "stitch/mount/steady.h"

#include <algorithm>
#include <cmath>

#include "calib/rotation_vector.h"
#include "stitch/mount/turn_series.h"

namespace plateloom::stitch {

namespace {

// A straight line through the neighbours' turns seen from this one (tricube weights), so that a
// steady pan passes unchanged up to its ends.
Matrix3d smoothedAt(const std::vector<Matrix3d>& turns, size_t at, int reach) {
    double w = 0, x = 0, xx = 0;
    Vector3d y = Vector3d::Zero(), xy = Vector3d::Zero();
    for (size_t i = 0; i < turns.size(); ++i) {
        const double d = double(i) - double(at), u = std::abs(d) / (reach + 1);
        if (u >= 1) continue;
        const double weight = std::pow(1 - u * u * u, 3);
        const Vector3d off = calib::rotationVector(turns[at].transpose() * turns[i]);
        w += weight;
        x += weight * d;
        xx += weight * d * d;
        y += weight * off;
        xy += weight * d * off;
    }
    const double determinant = w * xx - x * x;
    const Vector3d middle =
        determinant > 1e-9 * w * w ? Vector3d((xx * y - x * xy) / determinant) : Vector3d(y / w);
    return turns[at] * calib::rotationOf(middle);
}

}  // namespace

std::vector<Matrix3d> takenOut(const std::vector<ShakeFrame>& shake, Steady steady,
                               int follow_frames) {
    std::vector<Matrix3d> out(shake.size(), Matrix3d::Identity());
    if (steady == Steady::none || shake.empty()) return out;
    std::vector<std::optional<Matrix3d>> known;
    for (const auto& frame : shake)
        known.push_back(frame.known ? std::optional(frame.firstFromMount) : std::nullopt);
    const auto turns = bridged(known);
    const Matrix3d mean = meanTurn(turns);
    for (size_t i = 0; i < turns.size(); ++i) {
        const Matrix3d path = steady == Steady::lock ? mean : smoothedAt(turns, i, follow_frames);
        out[i] = path.transpose() * turns[i];
    }
    return out;
}

}  // namespace plateloom::stitch
