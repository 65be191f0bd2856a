#include "stitch/plan/plan_proof.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <map>

#include "calib/angle.h"
#include "calib/frame_outline.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;
using calib::Matrix3d;
using calib::Vector2d;
using calib::Vector3d;

Vector3d directionAt(double pan_deg, double tilt_deg) {
    return calib::worldFromCamera({pan_deg, tilt_deg, 0}) * Vector3d(0, 1, 0);
}

// The most pixels that a radian can be worth anywhere in the picture.
double mostPixelsPerRadian(const calib::LensMap& lens) {
    constexpr int kColumns = 40, kRows = 24;
    constexpr double kBetween = 1.02;  // for what lies between the places looked at
    const calib::Sensor& sensor = lens.sensor();
    double most = 0;
    for (int j = 0; j <= kRows; ++j)
        for (int i = 0; i <= kColumns; ++i) {
            const double x = double(sensor.width_px) * i / kColumns;
            const double y = double(sensor.height_px) * j / kRows;
            const auto at = [&](double dx, double dy) {
                return lens.rayFromRecorded({x + dx, y + dy});
            };
            const auto left = at(-0.5, 0), right = at(0.5, 0), up = at(0, -0.5), down = at(0, 0.5);
            if (!left || !right || !up || !down) continue;
            // Radians a pixel, as a 3 x 2 matrix; its smaller singular value is what matters.
            Eigen::Matrix<double, 3, 2> ray;
            ray << *right - *left, *down - *up;
            const Eigen::Matrix2d gram = ray.transpose() * ray;
            const double half = 0.5 * gram.trace();
            const double smaller =
                half - std::sqrt(std::max(0.0, half * half - gram.determinant()));
            if (smaller > 0) most = std::max(most, 1 / std::sqrt(smaller));
        }
    return most * kBetween;
}

class CoverProof {
public:
    CoverProof(const PlanWish& wish, const std::vector<PlannedShot>& shots)
        : lens_(wish.lens), px_per_rad_(mostPixelsPerRadian(wish.lens)) {
        const calib::FrameOutline outline(wish.lens);
        reach_cosine_ = std::cos((outline.reach_deg() + 0.1) * kRadPerDeg);
        cell_deg_ = std::min(outline.across_deg(), outline.upright_deg()) / 8;
        for (const PlannedShot& shot : shots)
            cameraFromWorld_.push_back(calib::worldFromCamera(shot.pose).transpose());
    }

    void prove(const PlanWish& wish, PlanProof& proof) {
        const double low = wish.nadir ? -90 : wish.tilt_from_deg;
        const double high = wish.zenith ? 90 : wish.tilt_to_deg;
        const double span = wish.pan_to_deg - wish.pan_from_deg;
        const int rows = std::max(1, int(std::ceil((high - low) / cell_deg_)));
        proof.covered = true;
        for (int j = 0; j < rows && proof.covered; ++j) {
            const double from = low + (high - low) * j / rows,
                         to = low + (high - low) * (j + 1) / rows;
            const double level = from < 0 && to > 0 ? 1
                                                    : std::max(std::cos(from * kRadPerDeg),
                                                               std::cos(to * kRadPerDeg));
            const int columns = std::max(1, int(std::ceil(span * level / cell_deg_)));
            for (int i = 0; i < columns && proof.covered; ++i) {
                const double half = 0.5 * span / columns;
                const Cell cell{wish.pan_from_deg + (2 * i + 1) * half, 0.5 * (from + to), half,
                                0.5 * (to - from)};
                proof.covered = seen(cell, kDepth, proof);
            }
        }
    }

private:
    static constexpr int kDepth = 8;
    struct Cell {
        double pan_deg, tilt_deg, half_pan_deg, half_tilt_deg;
    };

    // No place of the cell is further from its middle, by way of a parallel and a meridian.
    static double reach_rad(const Cell& cell) {
        const double nearest = std::max(0.0, std::abs(cell.tilt_deg) - cell.half_tilt_deg);
        return (cell.half_tilt_deg + cell.half_pan_deg * std::cos(nearest * kRadPerDeg)) *
               kRadPerDeg;
    }

    enum class Sight { none, middle, whole };
    Sight sightOf(const Cell& cell) const {
        const Vector3d world = directionAt(cell.pan_deg, cell.tilt_deg);
        const double margin = reach_rad(cell) * px_per_rad_;
        const calib::Sensor& sensor = lens_.sensor();
        Sight best = Sight::none;
        for (const Matrix3d& camera : cameraFromWorld_) {
            if (camera.row(1) * world < reach_cosine_) continue;
            const auto px = lens_.recordedFromRay(camera * world);
            if (!px || !lens_.inPicture(*px)) continue;
            best = Sight::middle;
            const double inside =
                std::min({px->x(), px->y(), sensor.width_px - px->x(), sensor.height_px - px->y()});
            if (inside >= margin) return Sight::whole;
        }
        return best;
    }

    bool seen(const Cell& cell, int depth, PlanProof& proof) const {
        ++proof.cells;
        const Sight sight = sightOf(cell);
        if (sight == Sight::whole) return true;
        if (sight == Sight::none || depth == 0) {
            proof.open = calib::PanTiltRoll{cell.pan_deg, cell.tilt_deg, 0};
            return false;
        }
        const double p = 0.5 * cell.half_pan_deg, t = 0.5 * cell.half_tilt_deg;
        for (const double dp : {-p, p})
            for (const double dt : {-t, t})
                if (!seen({cell.pan_deg + dp, cell.tilt_deg + dt, p, t}, depth - 1, proof))
                    return false;
        return true;
    }

    const calib::LensMap& lens_;
    double px_per_rad_, reach_cosine_ = 0, cell_deg_ = 1;
    std::vector<Matrix3d> cameraFromWorld_;
};

// Overlaps are counted at this many places of a plate: right to some hundredths of a percent.
constexpr int kSamples = 10946;

class Overlaps {
public:
    Overlaps(const PlanWish& wish, const std::vector<PlannedShot>& shots)
        : shots_(shots), outline_(wish.lens), rays_(calib::raysOverPicture(wish.lens, kSamples)) {}

    double of(int a, int b) {
        const auto [place, fresh] = known_.try_emplace({std::min(a, b), std::max(a, b)}, 0);
        if (!fresh) return place->second;
        const Matrix3d bFromA = calib::worldFromCamera(shots_[size_t(b)].pose).transpose() *
                                calib::worldFromCamera(shots_[size_t(a)].pose);
        const auto seen = std::count_if(rays_.begin(), rays_.end(), [&](const Vector3d& ray) {
            return outline_.contains(bFromA * ray);
        });
        return place->second = double(seen) / double(rays_.size());
    }

private:
    const std::vector<PlannedShot>& shots_;
    calib::FrameOutline outline_;
    std::vector<Vector3d> rays_;
    std::map<std::pair<int, int>, double> known_;
};

double apart_deg(double a, double b) {
    const double d = a - b;
    return std::abs(d - 360 * std::floor(d / 360 + 0.5));
}

// The shot of [from, to) that overlaps `shot` the most; the three nearest in pan are looked at.
int bestPartner(Overlaps& overlaps, const std::vector<PlannedShot>& shots, int shot, int from,
                int to) {
    std::vector<int> near;
    for (int i = from; i < to; ++i) near.push_back(i);
    const double pan = shots[size_t(shot)].pose.pan_deg;
    const auto nearer = [&](int a, int b) {
        return apart_deg(shots[size_t(a)].pose.pan_deg, pan) <
               apart_deg(shots[size_t(b)].pose.pan_deg, pan);
    };
    const size_t count = std::min<size_t>(3, near.size());
    std::partial_sort(near.begin(), near.begin() + std::ptrdiff_t(count), near.end(), nearer);
    near.resize(count);
    return *std::max_element(near.begin(), near.end(), [&](int a, int b) {
        return overlaps.of(shot, a) < overlaps.of(shot, b);
    });
}

void measurePairs(const PlanWish& wish, const std::vector<PlannedShot>& shots, PlanProof& proof) {
    Overlaps overlaps(wish, shots);
    const bool closed = wish.pan_to_deg - wish.pan_from_deg > 360 - 1e-9;
    std::map<std::pair<int, int>, bool> pairs;  // and whether they stand in one row
    std::vector<int> row_starts;
    for (int i = 0; i < int(shots.size()); ++i)
        if (i == 0 || shots[size_t(i)].row != shots[size_t(i - 1)].row) row_starts.push_back(i);
    row_starts.push_back(int(shots.size()));
    const auto add = [&](int a, int b, bool same_row) {
        pairs.try_emplace({std::min(a, b), std::max(a, b)}, same_row);
    };
    for (size_t r = 0; r + 1 < row_starts.size(); ++r) {
        const int from = row_starts[r], to = row_starts[r + 1];
        for (int i = from; i + 1 < to; ++i) add(i, i + 1, true);
        if (closed && to - from > 2) add(from, to - 1, true);
        for (int i = from; i < to; ++i) {
            if (r + 2 < row_starts.size())
                add(i, bestPartner(overlaps, shots, i, to, row_starts[r + 2]), false);
            if (r > 0) add(i, bestPartner(overlaps, shots, i, row_starts[r - 1], from), false);
        }
    }
    for (const auto& [pair, same_row] : pairs) {
        proof.pairs.push_back(
            {pair.first, pair.second, same_row, overlaps.of(pair.first, pair.second)});
        double& least = same_row ? proof.least_beside : proof.least_upright;
        least = std::min(least, proof.pairs.back().overlap);
    }
}

}  // namespace

PlanProof proveShots(const PlanWish& wish, const std::vector<PlannedShot>& shots) {
    PlanProof proof;
    CoverProof(wish, shots).prove(wish, proof);
    measurePairs(wish, shots, proof);
    return proof;
}

}  // namespace plateloom::stitch
