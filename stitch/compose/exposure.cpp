#include "stitch/compose/exposure.h"

#include <tbb/parallel_for.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr int kCell = 8;  // pixels: 64 of them average the noise, and misregistration hardly counts
constexpr float kInvalid = -1;       // in a cell's red: no sample here
constexpr double kKnownSigma = 0.7;  // natural log, one stop: the weak prior
constexpr size_t kMostSamples = 4000;

// A plate reduced to cells, unshaded; `ray` is the world direction of the cell's centre.
struct Cells {
    int width = 0, height = 0;
    std::vector<std::array<float, 3>> light;
    std::vector<calib::Vector3d> ray;

    [[nodiscard]] bool valid(int x, int y) const {
        return light[size_t(y) * width + x][0] != kInvalid;
    }
};

std::array<float, 3> cellMean(const io::PlatePixels& pixels, int x0, int y0) {
    float sum[3] = {0, 0, 0};
    for (int y = y0; y < y0 + kCell; ++y)
        for (int x = x0; x < x0 + kCell; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            if (rgba[3] < 0.999f) return {kInvalid, 0, 0};
            for (int c = 0; c < 3; ++c) {
                if (rgba[c] >= pixels.clip_level) return {kInvalid, 0, 0};
                sum[c] += rgba[c];
            }
        }
    constexpr float share = 1.0f / (kCell * kCell);
    if (sum[0] < 0) return {kInvalid, 0, 0};
    return {sum[0] * share, sum[1] * share, sum[2] * share};
}

Cells reduce(const PlacedPlate& plate, const io::PlatePixels& pixels) {
    Cells cells;
    cells.width = pixels.width / kCell;
    cells.height = pixels.height / kCell;
    const size_t count = size_t(cells.width) * cells.height;
    cells.light.assign(count, {kInvalid, 0, 0});
    cells.ray.assign(count, calib::Vector3d::Zero());
    for (int y = 0; y < cells.height; ++y)
        for (int x = 0; x < cells.width; ++x) {
            const calib::Vector2d centre((x + 0.5) * kCell, (y + 0.5) * kCell);
            const auto ray = plate.lens.rayFromRecorded(centre);
            const double transmission = plate.lens.transmission(centre);
            if (!ray || !(transmission > 0)) continue;
            auto mean = cellMean(pixels, x * kCell, y * kCell);
            const size_t at = size_t(y) * cells.width + x;
            cells.ray[at] = plate.worldFromCamera * *ray;
            if (mean[0] == kInvalid) continue;
            for (float& value : mean) value /= float(transmission);
            cells.light[at] = mean;
        }
    return cells;
}

// Bilinear value between cell centres; false where one of the four is missing.
bool sample(const Cells& cells, const calib::Vector2d& px, std::array<float, 3>& out,
            float& contrast) {
    const double gx = px.x() / kCell - 0.5, gy = px.y() / kCell - 0.5;
    const int x = int(std::floor(gx)), y = int(std::floor(gy));
    if (x < 0 || y < 0 || x + 1 >= cells.width || y + 1 >= cells.height) return false;
    const float fx = float(gx - x), fy = float(gy - y);
    const float weight[4] = {(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy};
    out = {0, 0, 0};
    float low = 1e30f, high = 0;
    for (int k = 0; k < 4; ++k) {
        const int cx = x + (k & 1), cy = y + (k >> 1);
        if (!cells.valid(cx, cy)) return false;
        const auto& light = cells.light[size_t(cy) * cells.width + cx];
        for (int c = 0; c < 3; ++c) out[c] += weight[k] * light[c];
        low = std::min(low, light[1]);
        high = std::max(high, light[1]);
    }
    contrast = (high - low) / (high + 1e-12f);
    return true;
}

using PairSamples = std::array<std::vector<RatioSample>, 3>;

PairSamples samplePair(const Cells& a, const PlacedPlate& b_plate, const Cells& b) {
    PairSamples samples;
    const calib::Matrix3d bFromWorld = b_plate.worldFromCamera.transpose();
    for (int y = 0; y < a.height; ++y)
        for (int x = 0; x < a.width; ++x) {
            if (!a.valid(x, y)) continue;
            const size_t at = size_t(y) * a.width + x;
            const auto px = b_plate.lens.recordedFromRay(bFromWorld * a.ray[at]);
            if (!px || !b_plate.lens.inPicture(*px)) continue;
            std::array<float, 3> light_b;
            float contrast = 0;
            if (!sample(b, *px, light_b, contrast)) continue;
            // An even patch says more of the exposure than an edge that may lie a hair off.
            const double weight = 1.0 / (0.01 + contrast * contrast);
            for (int c = 0; c < 3; ++c) {
                const float light_a = a.light[at][c];
                if (light_a > 0 && light_b[c] > 0)
                    samples[c].push_back({std::log(double(light_a) / light_b[c]), weight});
            }
        }
    return samples;
}

// No more than kMostSamples, taken evenly, so that a large overlap costs no more than a small one.
void thin(std::vector<RatioSample>& samples) {
    if (samples.size() <= kMostSamples) return;
    const double stride = double(samples.size()) / kMostSamples;
    for (size_t i = 0; i < kMostSamples; ++i) samples[i] = samples[size_t(i * stride)];
    samples.resize(kMostSamples);
}

double weightedMedian(std::vector<RatioSample> samples) {
    std::sort(samples.begin(), samples.end(),
              [](const auto& l, const auto& r) { return l.log_ratio < r.log_ratio; });
    double total = 0, sum = 0;
    for (const auto& s : samples) total += s.weight;
    for (const auto& s : samples)
        if ((sum += s.weight) >= 0.5 * total) return s.log_ratio;
    return samples.back().log_ratio;
}

struct PairRatio {
    int a = 0, b = 0;
    std::array<std::optional<Ratio>, 3> ratio;
};

std::vector<PairRatio> measurePairs(const std::vector<PlacedPlate>& plates,
                                    const std::vector<Cells>& cells) {
    std::vector<PairRatio> pairs;
    for (size_t a = 0; a < plates.size(); ++a)
        for (size_t b = a + 1; b < plates.size(); ++b) pairs.push_back({int(a), int(b), {}});
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        auto& pair = pairs[i];
        const auto& lens_a = plates[pair.a].lens;
        const auto& lens_b = plates[pair.b].lens;
        // Two frames whose axes lie further apart than their half diagonals see nothing in common.
        const calib::Vector3d axis_a = plates[pair.a].worldFromCamera.col(1);
        const calib::Vector3d axis_b = plates[pair.b].worldFromCamera.col(1);
        const double reach =
            std::atan2(1.3 * lens_a.sensor().halfDiagonal_mm(), lens_a.lens().focal_mm) +
            std::atan2(1.3 * lens_b.sensor().halfDiagonal_mm(), lens_b.lens().focal_mm);
        if (std::acos(std::clamp(axis_a.dot(axis_b), -1.0, 1.0)) > reach) return;
        auto samples = samplePair(cells[pair.a], plates[pair.b], cells[pair.b]);
        for (int c = 0; c < 3; ++c) {
            thin(samples[c]);
            pair.ratio[c] = robustRatio(samples[c]);
        }
    });
    return pairs;
}

// log gains of one channel: sum over pairs of (log g_a + r_ab - log g_b)² / variance, plus the
// prior.
Eigen::VectorXd solveChannel(const std::vector<PairRatio>& pairs, const Eigen::VectorXd& known,
                             int channel) {
    const auto n = known.size();
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(n, n);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(n);
    for (const auto& pair : pairs) {
        const auto& ratio = pair.ratio[channel];
        if (!ratio) continue;
        const double w = 1.0 / (ratio->variance + 1e-8);
        normal(pair.a, pair.a) += w;
        normal(pair.b, pair.b) += w;
        normal(pair.a, pair.b) -= w;
        normal(pair.b, pair.a) -= w;
        right(pair.a) -= w * ratio->log_ratio;
        right(pair.b) += w * ratio->log_ratio;
    }
    const double prior = 1.0 / (kKnownSigma * kKnownSigma);
    normal.diagonal().array() += prior;
    right += prior * known;
    Eigen::VectorXd gain = normal.ldlt().solve(right);
    gain.array() -= gain.mean();
    return gain;
}

Eigen::VectorXd knownLogGains(const std::vector<std::optional<double>>& stops) {
    Eigen::VectorXd known = Eigen::VectorXd::Zero(Eigen::Index(stops.size()));
    double sum = 0;
    int count = 0;
    for (const auto& s : stops)
        if (s) sum += *s, ++count;
    const double mean = count ? sum / count : 0;
    for (size_t i = 0; i < stops.size(); ++i)
        known(Eigen::Index(i)) = -std::log(2.0) * (stops[i].value_or(mean) - mean);
    return known;
}

}  // namespace

std::optional<Ratio> robustRatio(const std::vector<RatioSample>& samples) {
    if (samples.size() < 8) return std::nullopt;
    double centre = weightedMedian(samples);
    std::vector<RatioSample> deviations = samples;
    for (auto& d : deviations) d.log_ratio = std::abs(d.log_ratio - centre);
    const double scale = std::max(1.4826 * weightedMedian(deviations), 1e-5);
    double total = 0, spread = 0;
    for (int round = 0; round < 8; ++round) {
        double sum = 0;
        total = spread = 0;
        for (const auto& s : samples) {
            const double u = (s.log_ratio - centre) / (4.685 * scale);
            if (std::abs(u) >= 1) continue;
            const double w = s.weight * (1 - u * u) * (1 - u * u);
            sum += w * s.log_ratio;
            spread += w * (s.log_ratio - centre) * (s.log_ratio - centre);
            total += w;
        }
        centre = sum / total;
    }
    return Ratio{centre, spread / total / double(samples.size())};
}

std::vector<std::array<float, 3>> balanceExposure(
    const std::vector<PlacedPlate>& plates, PlateStore& store,
    const std::vector<std::optional<double>>& known_stops) {
    std::vector<Cells> cells(plates.size());
    tbb::parallel_for(size_t(0), plates.size(),
                      [&](size_t i) { cells[i] = reduce(plates[i], *store.get(plates[i].plate)); });
    const auto pairs = measurePairs(plates, cells);
    const Eigen::VectorXd known = knownLogGains(known_stops);
    std::vector<std::array<float, 3>> gains(plates.size());
    for (int c = 0; c < 3; ++c) {
        const Eigen::VectorXd gain = solveChannel(pairs, known, c);
        for (size_t i = 0; i < plates.size(); ++i)
            gains[i][c] = float(std::exp(gain(Eigen::Index(i))));
    }
    return gains;
}

}  // namespace plateloom::stitch
