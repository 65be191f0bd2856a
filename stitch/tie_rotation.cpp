#include "stitch/tie_rotation.h"

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
    for (int round = 0; round < 10; ++round) {
        // The first rounds forgive more: the rotation that comes in may belong to other lenses.
        const double scale = tolerance * std::max(1.0, std::ldexp(4.0, -round));
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
