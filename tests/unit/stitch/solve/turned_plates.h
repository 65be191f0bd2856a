// Cameras turned on one spot, with exact ties between them: the ground that the solver's tests
// stand on.
#pragma once

#include <optional>
#include <random>
#include <vector>

#include "calib/pose.h"
#include "stitch/plates/plate_set.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct TurnedPlates {
    std::vector<Plate> plates;
    std::vector<Matrix3d> worldFromCamera;  ///< the truth
    calib::Lens true_lens;
};

/// Rows of plates, each all the way round, as (tilt, number) pairs; pans, tilts and rolls a little
/// uneven, as a hand on a head leaves them.
inline std::vector<Matrix3d> turnedRows(const std::vector<std::pair<double, int>>& rows,
                                        unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> uneven(0, 1.0);
    std::vector<Matrix3d> out;
    for (const auto& [tilt_deg, count] : rows)
        for (int i = 0; i < count; ++i)
            out.push_back(
                calib::worldFromCamera({360.0 * i / count + uneven(random),
                                        tilt_deg + uneven(random), 0.5 * uneven(random)}));
    return out;
}

/// Plates that believe `believed` while `truth` took them.
inline TurnedPlates turnedPlates(std::vector<Matrix3d> worldFromCamera, const calib::Lens& truth,
                                 const calib::Lens& believed, const calib::Sensor& sensor) {
    TurnedPlates out;
    out.worldFromCamera = std::move(worldFromCamera);
    out.true_lens = truth;
    out.plates.resize(out.worldFromCamera.size());
    for (auto& plate : out.plates) {
        plate.sensor = sensor;
        plate.lens = believed;
        plate.distortion_known = true;
        plate.focal_sigma = 0.001;
    }
    return out;
}

/// Random places of plate a that plate b sees too, recorded through the true lens, with noise of
/// `noise_px` on b's side. Empty when the overlap is smaller than about 1 in 20.
inline std::vector<Tie> tiesBetween(const TurnedPlates& set, int a, int b, int wanted,
                                    double noise_px, std::mt19937& random) {
    const calib::LensMap lens(set.true_lens, set.plates[a].sensor);
    const double w = set.plates[a].sensor.width_px, h = set.plates[a].sensor.height_px;
    std::uniform_real_distribution<double> across(0, 1);
    std::normal_distribution<double> noise(0, noise_px);
    std::vector<Tie> ties;
    for (int i = 0; i < 20 * wanted && int(ties.size()) < wanted; ++i) {
        const Vector2d px_a(w * across(random), h * across(random));
        const auto ray = lens.rayFromRecorded(px_a);
        if (!ray) continue;
        const auto px_b = lens.recordedFromRay(set.worldFromCamera[b].transpose() *
                                               (set.worldFromCamera[a] * *ray));
        if (!px_b || !lens.inPicture(*px_b)) continue;
        ties.push_back(
            {a, b, px_a, *px_b + Vector2d(noise(random), noise(random)), std::max(noise_px, 0.02)});
    }
    if (int(ties.size()) < wanted) ties.clear();
    return ties;
}

inline std::vector<Tie> allTies(const TurnedPlates& set, int wanted, double noise_px,
                                std::mt19937& random) {
    std::vector<Tie> ties;
    for (int a = 0; a < int(set.plates.size()); ++a)
        for (int b = a + 1; b < int(set.plates.size()); ++b)
            for (const auto& tie : tiesBetween(set, a, b, wanted, noise_px, random))
                ties.push_back(tie);
    return ties;
}

/// Angles in degrees between the rotations that are there and the truth, after one alignment.
inline std::vector<double> errors_deg(const std::vector<std::optional<Matrix3d>>& solved,
                                      const std::vector<Matrix3d>& truth) {
    std::vector<Matrix3d> from, to;
    for (size_t i = 0; i < solved.size(); ++i) {
        if (!solved[i]) continue;
        from.push_back(*solved[i]);
        to.push_back(truth[i]);
    }
    std::vector<double> out;
    if (from.empty()) return out;
    const Matrix3d align = calib::alignOrientations(from, to);
    for (size_t i = 0; i < from.size(); ++i)
        out.push_back(calib::angleBetween_deg(align * from[i], to[i]));
    return out;
}

}  // namespace plateloom::stitch
