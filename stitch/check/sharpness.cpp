#include "stitch/check/sharpness.h"

#include <tbb/parallel_for.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "stitch/compose/exposure.h"

namespace plateloom::stitch {

namespace {

// A cell tells when one of the two plates shows clearly more than noise there.
constexpr float kOverNoise = 4;
constexpr float kLeastContrast2 = 2e-5f;  // of the cell's light, squared
constexpr size_t kLeastCells = 15;

struct Sample {
    float fine = 0, noise = 0;  // over the light's square
    bool valid = false;
};

// Bilinear between cell centres.
Sample sampleAt(const DetailCells& cells, const calib::Sensor& sensor, const calib::Vector2d& px) {
    Sample out;
    const double gx = px.x() / (sensor.width_px * cells.step_x) - 0.5;
    const double gy = px.y() / (sensor.height_px * cells.step_y) - 0.5;
    const int x = int(std::floor(gx)), y = int(std::floor(gy));
    if (x < 0 || y < 0 || x + 1 >= cells.columns || y + 1 >= cells.rows) return out;
    const float fx = float(gx - x), fy = float(gy - y);
    const float weight[4] = {(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy};
    float light = 0;
    for (int k = 0; k < 4; ++k) {
        const size_t at = cells.at(x + (k & 1), y + (k >> 1));
        if (!(cells.light[at] > 0)) return out;
        light += weight[k] * cells.light[at];
        out.fine += weight[k] * cells.fine[at];
        out.noise += weight[k] * cells.noise[at];
    }
    out.fine /= light * light;
    out.noise /= light * light;
    out.valid = true;
    return out;
}

// log(detail of a / detail of b) at a's cells.
std::vector<RatioSample> samplesOf(const PlacedPlate& a, const DetailCells& cells_a,
                                   const PlacedPlate& b, const DetailCells& cells_b) {
    std::vector<RatioSample> samples;
    const auto& sensor = a.lens.sensor();
    const calib::Matrix3d bFromA = b.worldFromCamera.transpose() * a.worldFromCamera;
    for (int y = 0; y < cells_a.rows; ++y)
        for (int x = 0; x < cells_a.columns; ++x) {
            const size_t at = cells_a.at(x, y);
            const float light = cells_a.light[at];
            if (!(light > 0)) continue;
            const auto ray =
                a.lens.rayFromRecorded({(x + 0.5) * cells_a.step_x * sensor.width_px,
                                        (y + 0.5) * cells_a.step_y * sensor.height_px});
            if (!ray) continue;
            const auto px = b.lens.recordedFromRay(bFromA * *ray);
            if (!px || !b.lens.inPicture(*px)) continue;
            const Sample other = sampleAt(cells_b, b.lens.sensor(), *px);
            if (!other.valid) continue;
            const float fine = cells_a.fine[at] / (light * light);
            const float noise = cells_a.noise[at] / (light * light);
            const float most = std::max(fine, other.fine);
            const float floor = std::max({noise, other.noise, kLeastContrast2});
            if (most < kOverNoise * floor) continue;
            constexpr float kAtLeast = 0.25f;  // of the floor: less is not told apart from nothing
            samples.push_back({std::log(double(std::max(fine, kAtLeast * floor)) /
                                        double(std::max(other.fine, kAtLeast * floor))),
                               1.0});
        }
    return samples;
}

struct PairRatio {
    size_t a = 0, b = 0;
    double log_ratio = 0, variance = 1;
};

// Both ways: what comes from comparing a cell with the mean of several cancels out.
std::optional<PairRatio> ratioOf(const std::vector<PlacedPlate>& plates,
                                 const std::vector<const DetailCells*>& detail, size_t a,
                                 size_t b) {
    const auto there = samplesOf(plates[a], *detail[a], plates[b], *detail[b]);
    const auto back = samplesOf(plates[b], *detail[b], plates[a], *detail[a]);
    if (there.size() < kLeastCells || back.size() < kLeastCells) return std::nullopt;
    const auto ab = robustRatio(there), ba = robustRatio(back);
    if (!ab || !ba) return std::nullopt;
    return PairRatio{a, b, 0.5 * (ab->log_ratio - ba->log_ratio),
                     0.25 * (ab->variance + ba->variance)};
}

}  // namespace

std::vector<std::optional<double>> sharpnessOf(
    const std::vector<PlacedPlate>& plates, const std::vector<const DetailCells*>& detail,
    const std::vector<std::pair<size_t, size_t>>& pairs) {
    const size_t n = plates.size();
    std::vector<std::optional<double>> sharpness(n);
    std::vector<std::optional<PairRatio>> ratios(pairs.size());
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        ratios[i] = ratioOf(plates, detail, pairs[i].first, pairs[i].second);
    });
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(Eigen::Index(n), Eigen::Index(n));
    Eigen::VectorXd right = Eigen::VectorXd::Zero(Eigen::Index(n));
    std::vector<char> told(n, 0);
    for (const auto& pair : ratios) {
        if (!pair) continue;
        const auto a = Eigen::Index(pair->a), b = Eigen::Index(pair->b);
        constexpr double kModel = 0.01;  // cells of two plates never hold quite the same
        const double w = 1 / (pair->variance + kModel);
        normal(a, a) += w;
        normal(b, b) += w;
        normal(a, b) -= w;
        normal(b, a) -= w;
        right(a) += w * pair->log_ratio;
        right(b) -= w * pair->log_ratio;
        told[pair->a] = told[pair->b] = 1;
    }
    constexpr double kPrior = 1e-3;
    normal.diagonal().array() += kPrior;
    const Eigen::VectorXd log_energy = normal.ldlt().solve(right);
    std::vector<double> known;
    for (size_t i = 0; i < n; ++i)
        if (told[i]) known.push_back(log_energy(Eigen::Index(i)));
    if (known.empty()) return sharpness;
    const auto middle = known.begin() + ptrdiff_t(known.size() / 2);
    std::nth_element(known.begin(), middle, known.end());
    for (size_t i = 0; i < n; ++i)
        if (told[i]) sharpness[i] = std::exp(0.5 * (log_energy(Eigen::Index(i)) - *middle));
    return sharpness;
}

}  // namespace plateloom::stitch
