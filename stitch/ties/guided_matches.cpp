#include <algorithm>
#include <cmath>
#include <set>

#include "stitch/ties/descriptor_matches.h"
#include "stitch/ties/pairs.h"

namespace plateloom::stitch {

namespace {

// Features by place, so that a neighbourhood can be asked for.
class FeatureGrid {
public:
    FeatureGrid(const std::vector<Vector2d>& px, const calib::Sensor& sensor, double cell_px)
        : cell_px_(cell_px),
          columns_(int(sensor.width_px / cell_px) + 1),
          rows_(int(sensor.height_px / cell_px) + 1),
          cells_(size_t(columns_) * rows_) {
        for (int i = 0; i < int(px.size()); ++i)
            cells_[cell(column(px[i].x()), row(px[i].y()))].push_back(i);
    }

    template <class Visit>
    void near(const Vector2d& at, const Visit& visit) const {
        for (int y = std::max(0, row(at.y()) - 1); y <= std::min(rows_ - 1, row(at.y()) + 1); ++y) {
            for (int x = std::max(0, column(at.x()) - 1);
                 x <= std::min(columns_ - 1, column(at.x()) + 1); ++x) {
                for (const int i : cells_[cell(x, y)]) visit(i);
            }
        }
    }

private:
    [[nodiscard]] int column(double x) const {
        return std::clamp(int(x / cell_px_), 0, columns_ - 1);
    }
    [[nodiscard]] int row(double y) const { return std::clamp(int(y / cell_px_), 0, rows_ - 1); }
    [[nodiscard]] size_t cell(int x, int y) const { return size_t(y) * columns_ + x; }

    double cell_px_;
    int columns_, rows_;
    std::vector<std::vector<int>> cells_;
};

}  // namespace

std::vector<Tie> guidedMatches(const PairSide& a, const PairSide& b, const Matrix3d& bFromA,
                               double radius_px) {
    constexpr double kDistance2 = 0.4, kRatio2 = 0.9 * 0.9, kSamePlace_px = 4.0;
    constexpr size_t kLeast = 6;
    struct Best {
        int a = -1, b = -1, dot = -1;
        double next_d2 = 2.0;
    };
    const FeatureGrid grid(b.features.recorded_px, b.lens.sensor(), std::max(4.0, radius_px));
    std::vector<Best> of_a;
    std::vector<int> dot_of_b(b.features.recorded_px.size(), -1);
    for (int i = 0; i < int(a.features.recorded_px.size()); ++i) {
        const auto ray = a.lens.rayFromRecorded(a.features.recorded_px[i]);
        if (!ray) continue;
        const auto predicted = b.lens.recordedFromRay(bFromA * *ray);
        if (!predicted || !b.lens.inPicture(*predicted)) continue;
        Best best{i};
        const int16_t* descriptor = a.features.descriptors.ptr<int16_t>(i);
        std::vector<std::pair<int, int>> found;  // dot, feature
        grid.near(*predicted, [&](int j) {
            if ((b.features.recorded_px[j] - *predicted).norm() > radius_px) return;
            found.push_back({descriptorDot(descriptor, b.features.descriptors.ptr<int16_t>(j)), j});
        });
        for (const auto& [dot, j] : found) {
            dot_of_b[j] = std::max(dot_of_b[j], dot);
            if (dot > best.dot) best.dot = dot, best.b = j;
        }
        if (best.b < 0) continue;
        for (const auto& [dot, j] : found) {
            const Vector2d apart = b.features.recorded_px[j] - b.features.recorded_px[best.b];
            if (apart.norm() >= kSamePlace_px)
                best.next_d2 = std::min(best.next_d2, squaredDistance(dot));
        }
        of_a.push_back(best);
    }
    std::vector<Tie> ties;
    std::set<std::pair<int, int>> places;  // one tie for a thing found with several orientations
    for (const Best& best : of_a) {
        const double d2 = squaredDistance(best.dot);
        if (best.dot < dot_of_b[best.b] || d2 > kDistance2 || d2 > kRatio2 * best.next_d2) continue;
        const Vector2d& px_a = a.features.recorded_px[best.a];
        if (!places.insert({int(px_a.x() / kSamePlace_px), int(px_a.y() / kSamePlace_px)}).second)
            continue;
        constexpr double kSigmaPerSize = 0.08;
        const double size = std::max(a.features.size_px[best.a], b.features.size_px[best.b]);
        ties.push_back({a.plate, b.plate, px_a, b.features.recorded_px[best.b],
                        std::max(0.3, kSigmaPerSize * size)});
    }
    if (ties.size() < kLeast) ties.clear();
    return ties;
}

}  // namespace plateloom::stitch
