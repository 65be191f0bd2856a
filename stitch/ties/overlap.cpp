#include "stitch/ties/overlap.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <set>

namespace plateloom::stitch {

TransferAToB transferAToB(const calib::LensMap& lens_a, const calib::LensMap& lens_b,
                          const Matrix3d& bFromA) {
    return [&lens_a, &lens_b, bFromA](const Vector2d& px_a) -> std::optional<Vector2d> {
        const auto ray = lens_a.rayFromRecorded(px_a);
        if (!ray) return std::nullopt;
        const auto px_b = lens_b.recordedFromRay(bFromA * *ray);
        if (!px_b || !lens_b.inPicture(*px_b)) return std::nullopt;
        return px_b;
    };
}

double overlapShare(const calib::LensMap& lens_a, const calib::LensMap& lens_b,
                    const Matrix3d& bFromA) {
    constexpr int kColumns = 16, kRows = 10;
    const auto bAt = transferAToB(lens_a, lens_b, bFromA);
    const auto& sensor = lens_a.sensor();
    int seen = 0;
    for (int j = 0; j < kRows; ++j)
        for (int i = 0; i < kColumns; ++i)
            seen +=
                bAt({(i + 0.5) * sensor.width_px / kColumns, (j + 0.5) * sensor.height_px / kRows})
                    .has_value();
    return double(seen) / (kColumns * kRows);
}

std::vector<std::pair<int, int>> overlappingPairs(const Cameras& cameras,
                                                  const std::vector<calib::LensMap>& lenses,
                                                  double least_share) {
    // Half the corner-to-corner angle of each plate rules most pairs out.
    std::vector<double> reach_rad(cameras.size(), 0);
    for (int p = 0; p < cameras.size(); ++p) {
        const auto& sensor = lenses[p].sensor();
        for (const Vector2d& corner :
             {Vector2d(0, 0), Vector2d(sensor.width_px, 0), Vector2d(0, sensor.height_px),
              Vector2d(sensor.width_px, sensor.height_px)}) {
            const auto ray = lenses[p].rayFromRecorded(corner);
            reach_rad[p] = std::max(reach_rad[p], ray ? std::acos(ray->y()) : 1.6);
        }
    }
    std::vector<std::pair<int, int>> pairs;
    for (int a = 0; a < cameras.size(); ++a) {
        for (int b = a + 1; b < cameras.size(); ++b) {
            if (!cameras.worldFromCamera[a] || !cameras.worldFromCamera[b]) continue;
            if (cameras.part[a] < 0 || cameras.part[a] != cameras.part[b]) continue;
            const Matrix3d bFromA = cameras.bFromA(a, b);
            if (std::acos(std::clamp(bFromA(1, 1), -1.0, 1.0)) > reach_rad[a] + reach_rad[b])
                continue;
            const double share = std::max(overlapShare(lenses[a], lenses[b], bFromA),
                                          overlapShare(lenses[b], lenses[a], bFromA.transpose()));
            if (share >= least_share) pairs.emplace_back(a, b);
        }
    }
    return pairs;
}

namespace {

// A plate's features by cells: a ray and a count each, and the flat frame as tangents.
struct FeatureCells {
    std::vector<Eigen::Vector3f> ray;
    std::vector<float> count;
    float left = 0, right = 0, top = 0, bottom = 0;  // x/y and z/y of a ray inside the frame
    double reach_cosine = 0;                         // of half the diagonal angle
};

FeatureCells cellsOf(const PlateFeatures& features, const calib::LensMap& lens) {
    constexpr int kColumns = 12, kRows = 8;
    const auto& sensor = lens.sensor();
    std::vector<int> count(kColumns * kRows, 0);
    for (const auto& px : features.recorded_px) {
        const int i = std::clamp(int(px.x() * kColumns / sensor.width_px), 0, kColumns - 1);
        const int j = std::clamp(int(px.y() * kRows / sensor.height_px), 0, kRows - 1);
        ++count[j * kColumns + i];
    }
    FeatureCells cells;
    for (int j = 0; j < kRows; ++j)
        for (int i = 0; i < kColumns; ++i) {
            if (count[j * kColumns + i] == 0) continue;
            const auto ray = lens.rayFromRecorded(
                {(i + 0.5) * sensor.width_px / kColumns, (j + 0.5) * sensor.height_px / kRows});
            if (!ray) continue;
            cells.ray.push_back(ray->cast<float>());
            cells.count.push_back(float(count[j * kColumns + i]));
        }
    const auto tangents = [&](double x, double y) -> Eigen::Vector2f {
        const auto ray = lens.rayFromRecorded({x, y});
        if (!ray) return Eigen::Vector2f::Zero();
        return {float(ray->x() / ray->y()), float(ray->z() / ray->y())};
    };
    const double w = sensor.width_px, h = sensor.height_px;
    cells.left = tangents(0, 0.5 * h).x();
    cells.right = tangents(w, 0.5 * h).x();
    cells.top = tangents(0.5 * w, 0).y();
    cells.bottom = tangents(0.5 * w, h).y();
    cells.reach_cosine = 1 / std::sqrt(1 + std::pow(std::max(-cells.left, cells.right), 2) +
                                       std::pow(std::max(cells.top, -cells.bottom), 2));
    return cells;
}

float countInFrame(const FeatureCells& of, const FeatureCells& frame, const Eigen::Matrix3f& turn) {
    float sum = 0;
    for (size_t k = 0; k < of.ray.size(); ++k) {
        const Eigen::Vector3f ray = turn * of.ray[k];
        const bool inside = ray.y() > 0.1f && ray.x() > frame.left * ray.y() &&
                            ray.x() < frame.right * ray.y() && ray.z() < frame.top * ray.y() &&
                            ray.z() > frame.bottom * ray.y();
        sum += inside ? of.count[k] : 0.0f;
    }
    return sum;
}

struct Expectation {
    std::vector<FeatureCells> cells;
    std::set<std::pair<int, int>> tried;
    double rate = 0;  // matches for a feature in the overlap

    [[nodiscard]] double features(int a, int b, const Matrix3d& bFromA) const {
        // cos(alpha + beta) of the two half diagonals: further apart, nothing overlaps.
        const double ca = cells[a].reach_cosine, cb = cells[b].reach_cosine;
        if (bFromA(1, 1) < ca * cb - std::sqrt((1 - ca * ca) * (1 - cb * cb))) return 0;
        const Eigen::Matrix3f turn = bFromA.cast<float>();
        return std::min(countInFrame(cells[a], cells[b], turn),
                        countInFrame(cells[b], cells[a], turn.transpose()));
    }
};

}  // namespace

ExpectedMatches expectedMatches(const std::vector<PlateFeatures>& features,
                                const std::vector<calib::LensMap>& lenses,
                                const std::vector<std::pair<int, int>>& tried,
                                const std::vector<PairRotation>& hypotheses) {
    auto expectation = std::make_shared<Expectation>();
    for (size_t p = 0; p < features.size(); ++p)
        expectation->cells.push_back(cellsOf(features[p], lenses[p]));
    expectation->tried.insert(tried.begin(), tried.end());

    std::map<std::pair<int, int>, double> best;
    for (const auto& h : hypotheses) {
        constexpr double kLeastFeatures = 20;
        const double there = expectation->features(h.a, h.b, h.bFromA);
        if (there < kLeastFeatures) continue;
        double& rate = best[{h.a, h.b}];
        rate = std::max(rate, h.inliers / there);
    }
    if (best.empty()) return nullptr;
    std::vector<double> rates;
    for (const auto& [pair, rate] : best) rates.push_back(rate);
    const auto middle = rates.begin() + std::ptrdiff_t(rates.size() / 2);
    std::nth_element(rates.begin(), middle, rates.end());
    expectation->rate = 0.5 * *middle;

    return [expectation](int a, int b, const Matrix3d& bFromA) -> double {
        if (!expectation->tried.count({a, b})) return 0;
        return expectation->rate * expectation->features(a, b, bFromA);
    };
}

}  // namespace plateloom::stitch
