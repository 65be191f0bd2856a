#include "stitch/compose/cell_merit.h"

#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "stitch/compose/plate_differences.h"
#include "stitch/plates/detail_cells.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;

// In the seam's unit (see overview.cpp), for each halving of the resolution or of the amplitude of
// fine detail, and for each doubling of the amplitude of noise. A soft plate looks the less noisy
// for it: so sharpness counts more.
constexpr float kCoarserCost = 0.05f, kSofterCost = 0.05f, kNoisierCost = 0.02f;
// What is no clear difference: 0.8 of the neighbours' detail is what `check` calls soft; calm cells
// of two equal plates differ by a few tenths.
constexpr float kSoftFrom = 0.32f, kNoisyFrom = 0.5f;
constexpr float kMostSteps = 3;
// A cell tells how sharp it is when one of two plates shows clearly more than noise there.
constexpr float kOverNoise_log2 = 2, kUnderNoise_log2 = -2;
constexpr float kLeastContrast2 = 2e-5f;  // of the cell's light, squared: less is not seen
constexpr int kCalmReach = 2;  // cells on either side among which the calmest is looked for
constexpr float kSameLight_stops = 0.1f;

// Pixels per radian where the lens maps a pixel to a ray, else 0.
double densityAt(const calib::LensMap& lens, const Vector2d& px) {
    constexpr double kStep_px = 0.25;
    const auto left = lens.rayFromRecorded(px - Vector2d(kStep_px, 0));
    const auto right = lens.rayFromRecorded(px + Vector2d(kStep_px, 0));
    const auto above = lens.rayFromRecorded(px - Vector2d(0, kStep_px));
    const auto below = lens.rayFromRecorded(px + Vector2d(0, kStep_px));
    if (!left || !right || !above || !below) return 0;
    const double solid_angle = (*right - *left).cross(*below - *above).norm();
    return solid_angle > 0 ? 2 * kStep_px / std::sqrt(solid_angle) : 0;
}

// Every cell of a plate's part that the plate sees, with its index in the whole grid.
template <class F>
void forEachSeen(const SmallPlate& small, int grid_width, F&& use) {
    for (int y = 0; y < small.height; ++y)
        for (int x = 0; x < small.width; ++x)
            if (const size_t at = small.at(x, y); seesCell(small, at))
                use(at, size_t(y + small.y0) * grid_width + size_t((x + small.x0) % grid_width));
}

}  // namespace

PixelDensity::PixelDensity(const calib::LensMap& lens)
    : width_px_(float(lens.sensor().width_px)), height_px_(float(lens.sensor().height_px)) {
    const auto axis = lens.recordedFromRay(calib::Vector3d::UnitY());
    const double most = axis ? densityAt(lens, *axis) : 0;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const double here =
                densityAt(lens, {double(i) * width_px_ / kSteps, double(j) * height_px_ / kSteps});
            nodes_.push_back(float(most > 0 ? std::min(here, most) : here));
        }
}

float PixelDensity::at(float x_px, float y_px) const {
    const float u = std::clamp(x_px / width_px_, 0.0f, 1.0f) * kSteps;
    const float v = std::clamp(y_px / height_px_, 0.0f, 1.0f) * kSteps;
    const int i = std::min(int(u), kSteps - 1), j = std::min(int(v), kSteps - 1);
    const float fx = u - float(i), fy = v - float(j);
    const float* node = &nodes_[size_t(j) * (kSteps + 1) + size_t(i)];
    const float above = node[0] + fx * (node[1] - node[0]);
    const float below = node[kSteps + 1] + fx * (node[kSteps + 2] - node[kSteps + 1]);
    return above + fy * (below - above);
}

PlateMerit::PlateMerit(const calib::LensMap& lens, const io::PlatePixels& pixels,
                       float panorama_per_radian)
    : density_(lens), panorama_per_radian_(panorama_per_radian) {
    measure(pixels);
}

void PlateMerit::measure(const io::PlatePixels& pixels) {
    const DetailCells cells = detailCells(pixels);
    if (cells.columns == 0) return;
    columns_ = cells.columns;
    rows_ = cells.rows;
    per_px_x_ = float(1 / (cells.step_x * pixels.width));
    per_px_y_ = float(1 / (cells.step_y * pixels.height));
    const auto counts = [&](size_t at) { return cells.light[at] > 0; };
    const auto relative = [&](float energy, size_t at) {
        return energy / (cells.light[at] * cells.light[at]);
    };
    nodes_.resize(cells.light.size());
    for (int y = 0; y < rows_; ++y)
        for (int x = 0; x < columns_; ++x) {
            const size_t at = cells.at(x, y);
            if (!counts(at)) continue;
            float calm = std::numeric_limits<float>::max();
            for (int j = std::max(0, y - kCalmReach); j <= std::min(rows_ - 1, y + kCalmReach); ++j)
                for (int i = std::max(0, x - kCalmReach);
                     i <= std::min(columns_ - 1, x + kCalmReach); ++i)
                    if (const size_t near = cells.at(i, j); counts(near))
                        calm = std::min(calm, relative(cells.grain[near], near));
            nodes_[at] = {std::log2(std::max(relative(cells.fine[at], at), 1e-12f)),
                          std::log2(std::max(relative(cells.noise[at], at), kLeastContrast2)),
                          std::log2(std::max(calm, kLeastContrast2)), true};
        }
}

CellMerit PlateMerit::at(float x_px, float y_px) const {
    const auto packed = [](float log2) {
        return int16_t(std::lround(std::clamp(log2, -100.0f, 100.0f) / CellMerit::kUnit));
    };
    CellMerit out;
    const float density = density_.at(x_px, y_px);
    if (!(density > 0)) return out;
    const float log_density = std::log2(density);
    out.density = packed(std::min(log_density, std::log2(panorama_per_radian_)));
    if (nodes_.empty()) return out;
    const float u = std::clamp(x_px * per_px_x_ - 0.5f, 0.0f, float(columns_ - 1));
    const float v = std::clamp(y_px * per_px_y_ - 0.5f, 0.0f, float(rows_ - 1));
    const int i = std::clamp(int(u), 0, std::max(0, columns_ - 2));
    const int j = std::clamp(int(v), 0, std::max(0, rows_ - 2));
    const float fx = u - float(i), fy = v - float(j);
    Node sum;
    for (int k = 0; k < 4; ++k) {
        const float weight = (k & 1 ? fx : 1 - fx) * (k & 2 ? fy : 1 - fy);
        if (weight == 0) continue;
        const Node& node = nodes_[size_t(j + (k >> 1)) * size_t(columns_) + size_t(i + (k & 1))];
        if (!node.known) return out;
        sum.detail += weight * node.detail;
        sum.noise += weight * node.noise;
        sum.calm += weight * node.calm;
    }
    // A difference from pixel to pixel is a steeper slope where pixels are denser; noise of denser
    // pixels shows less.
    out.detail = packed(sum.detail + 2 * log_density);
    out.detail_noise = packed(sum.noise + 2 * log_density);
    out.calm = packed(sum.calm - 2 * log_density);
    return out;
}

namespace {

// The best of all plates at one cell.
struct BestMerit {
    int16_t density = CellMerit::kUnknown, detail = CellMerit::kUnknown;
    int16_t calm = std::numeric_limits<int16_t>::max();
    uint16_t sharpest = 0, calmest = 0;
};

std::vector<BestMerit> bestMerits(const std::vector<std::vector<CellMerit>>& merits,
                                  const Overview& overview) {
    std::vector<BestMerit> best(size_t(overview.grid.width) * overview.grid.height);
    for (size_t i = 0; i < merits.size(); ++i)
        forEachSeen(overview.plates[i], overview.grid.width, [&](size_t at, size_t cell) {
            const CellMerit& merit = merits[i][at];
            BestMerit& most = best[cell];
            most.density = std::max(most.density, merit.density);
            if (merit.detail > most.detail) {
                most.detail = merit.detail;
                most.sharpest = uint16_t(i);
            }
            if (merit.calm != CellMerit::kUnknown && merit.calm < most.calm) {
                most.calm = merit.calm;
                most.calmest = uint16_t(i);
            }
        });
    return best;
}

class LackOfMerit {
public:
    LackOfMerit(const std::vector<std::vector<CellMerit>>& merits, const Overview& overview)
        : merits_(merits), overview_(overview), best_(bestMerits(merits, overview)) {}

    // In the seam's unit; (x, y) is the cell in the whole grid.
    [[nodiscard]] float at(size_t plate, size_t index, int x, int y) const {
        const CellMerit& own = merits_[plate][index];
        const BestMerit& best = best_[size_t(y) * overview_.grid.width + x];
        float cost = 0;
        if (own.density != CellMerit::kUnknown)
            cost += kCoarserCost * CellMerit::kUnit * float(best.density - own.density);
        if (own.detail == CellMerit::kUnknown) return cost;
        if (best.sharpest != plate) {
            const CellMerit& sharpest = merits_[best.sharpest][indexOf(best.sharpest, x, y)];
            const float noise =
                CellMerit::kUnit * float(std::max(sharpest.detail_noise, own.detail_noise));
            const float most = CellMerit::kUnit * float(best.detail);
            const float here =
                std::max(CellMerit::kUnit * float(own.detail), noise + kUnderNoise_log2);
            if (most >= noise + kOverNoise_log2)
                cost += kSofterCost * stepsFrom(kSoftFrom, 0.5f * (most - here)) *
                        sameLight(plate, index, best.sharpest, x, y);
        }
        if (best.calmest != plate)
            cost += kNoisierCost *
                    stepsFrom(kNoisyFrom, 0.5f * CellMerit::kUnit * float(own.calm - best.calm)) *
                    sameLight(plate, index, best.calmest, x, y);
        return cost;
    }

private:
    static float stepsFrom(float clear, float steps) {
        return std::clamp(steps - clear, 0.0f, kMostSteps);
    }
    [[nodiscard]] size_t indexOf(size_t plate, int x, int y) const {
        return size_t(findCell(overview_.plates[plate], x, y, overview_.grid.width));
    }
    // 1 where both plates show the same light, toward 0 where they show different things.
    [[nodiscard]] float sameLight(size_t plate, size_t index, size_t other, int x, int y) const {
        const float* a = &overview_.plates[plate].light[3 * index];
        const float* b = &overview_.plates[other].light[3 * indexOf(other, x, y)];
        float most = 0;
        for (int c = 0; c < 3; ++c) most = std::max(most, std::abs(a[c] - b[c]));
        const float off = most / kSameLight_stops;
        return 1 / (1 + off * off);
    }

    const std::vector<std::vector<CellMerit>>& merits_;
    const Overview& overview_;
    std::vector<BestMerit> best_;
};

}  // namespace

void addLackingMerit(const std::vector<std::vector<CellMerit>>& merits, Overview& overview) {
    const LackOfMerit lack(merits, overview);
    const int width = overview.grid.width;
    tbb::parallel_for(size_t(0), merits.size(), [&](size_t i) {
        auto& small = overview.plates[i];
        forEachSeen(small, width, [&](size_t at, size_t cell) {
            small.cost[at] += lack.at(i, at, int(cell % size_t(width)), int(cell / size_t(width)));
        });
    });
}

}  // namespace plateloom::stitch
