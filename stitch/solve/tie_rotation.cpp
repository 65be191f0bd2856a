#include "stitch/solve/tie_rotation.h"

#include <algorithm>
#include <cmath>

#include "calib/pose.h"

namespace plateloom::stitch {

PairRotation turnedAgain(const PairRotation& pair, const calib::LensMap& lens_a,
                         const calib::LensMap& lens_b, double tolerance_px) {
    std::vector<std::pair<Vector3d, Vector3d>> rays;
    for (const auto& tie : pair.ties) {
        const auto a = lens_a.rayFromRecorded(tie.px_a), b = lens_b.rayFromRecorded(tie.px_b);
        if (a && b) rays.emplace_back(*a, *b);
    }
    PairRotation out = pair;
    out.inliers = 0;
    if (rays.size() < 2) return out;
    const double tolerance = tolerance_px / std::min(lens_a.focal_px(), lens_b.focal_px());
    // The rotation that comes in may belong to quite other lenses: first as forgiving as it is off.
    std::vector<double> off;
    for (const auto& [a, b] : rays) off.push_back((out.bFromA * a - b).norm());
    std::nth_element(off.begin(), off.begin() + std::ptrdiff_t(off.size() / 2), off.end());
    const double first_scale = std::max(tolerance, 2 * off[off.size() / 2]);
    constexpr int kRounds = 16;
    for (int round = 0; round < kRounds; ++round) {
        const double scale = std::max(tolerance, std::ldexp(first_scale, -round));
        Matrix3d sum = Matrix3d::Zero();
        for (const auto& [a, b] : rays) {
            const double off2 = (out.bFromA * a - b).squaredNorm() / (scale * scale);
            sum += b * a.transpose() / ((1 + off2) * (1 + off2));
        }
        out.bFromA = calib::nearestRotation(sum);
    }
    for (const auto& [a, b] : rays) out.inliers += (out.bFromA * a - b).norm() < tolerance;
    return out;
}

}  // namespace plateloom::stitch
