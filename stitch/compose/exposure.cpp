#include "stitch/compose/exposure.h"

#include <tbb/parallel_for.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr double kKnownSigma = 0.7;  // natural log, one stop: the weak prior
constexpr size_t kMostSamples = 4000;
// Natural log. A cell's light is never known better than this (rounding, a hair of
// misregistration): a few cells that happen to agree do not outvote many that scatter.
constexpr double kLeastSpread = 0.003;
constexpr double kPairSigma = 0.001;  // what all cells of a pair may share, of shading left over
// A sample is one cell against the mean of four, of which bilinear weights leave 4/9 of the
// variance on average; but each cell's noise comes in whole, by way of its neighbours' samples.
constexpr double kInterpolated = 2 / (1 + 4.0 / 9);

using PairSamples = std::array<std::vector<RatioSample>, 3>;

PairSamples samplePair(const LightCells& a, const PlacedPlate& b_plate, const LightCells& b) {
    PairSamples samples;
    for (const auto& shared : sharedLight(a, b_plate, b))
        for (size_t c = 0; c < 3; ++c)
            if (shared.light_a[c] > 0 && shared.light_b[c] > 0)
                samples[c].push_back(
                    {std::log(double(shared.light_a[c]) / shared.light_b[c]), shared.weight});
    return samples;
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
                                    const std::vector<LightCells>& cells) {
    std::vector<PairRatio> pairs;
    for (size_t a = 0; a < plates.size(); ++a)
        for (size_t b = a + 1; b < plates.size(); ++b) pairs.push_back({int(a), int(b), {}});
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        auto& pair = pairs[i];
        if (!mayOverlap(plates[pair.a], plates[pair.b])) return;
        auto samples = samplePair(cells[pair.a], plates[pair.b], cells[pair.b]);
        for (int c = 0; c < 3; ++c) {
            thin(samples[c], kMostSamples);
            pair.ratio[c] = robustRatio(samples[c]);
            if (!pair.ratio[c]) continue;
            const double count = double(samples[c].size());
            pair.ratio[c]->variance = std::max(kInterpolated * pair.ratio[c]->variance,
                                               kLeastSpread * kLeastSpread / count) +
                                      kPairSigma * kPairSigma;
        }
    });
    return pairs;
}

// log gains of one channel and their variances: sum over pairs of (log g_a + r_ab - log g_b)² /
// variance, plus the prior. Both against the mean of all.
struct LogGains {
    Eigen::VectorXd gain, variance;
};
LogGains solveChannel(const std::vector<PairRatio>& pairs, const Eigen::VectorXd& known,
                      int channel) {
    const auto n = known.size();
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(n, n);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(n);
    for (const auto& pair : pairs) {
        const auto& ratio = pair.ratio[channel];
        if (!ratio) continue;
        const double w = 1.0 / ratio->variance;
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
    const auto factors = normal.ldlt();
    LogGains out;
    out.gain = factors.solve(right);
    out.gain.array() -= out.gain.mean();
    const Eigen::MatrixXd covariance = factors.solve(Eigen::MatrixXd::Identity(n, n));
    const Eigen::VectorXd row_means = covariance.rowwise().mean();
    out.variance = (covariance.diagonal() - 2 * row_means).array() + row_means.mean();
    return out;
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
    // Sums over the samples within reach: of the weights, of the squares of weight x deviation, and
    // of the slope of weight x deviation.
    double total = 0, squares = 0, slope = 0, count = 0;
    for (int round = 0; round < 8; ++round) {
        double sum = 0;
        total = squares = slope = count = 0;
        for (const auto& s : samples) {
            const double off = s.log_ratio - centre, u = off / (4.685 * scale), u2 = u * u;
            if (u2 >= 1) continue;
            const double w = s.weight * (1 - u2) * (1 - u2);
            sum += w * s.log_ratio;
            total += w;
            squares += w * off * w * off;
            slope += s.weight * (1 - u2) * (1 - 5 * u2);
            ++count;
        }
        centre = sum / total;
    }
    const double steep = std::max(slope, 0.5 * total);
    const double few = count > 4 ? (count - 1) / (count - 3) : 4;
    return Ratio{centre, few * squares / (steep * steep)};
}

ExposureBalance balanceExposure(const std::vector<PlacedPlate>& plates,
                                const std::vector<LightCells>& cells,
                                const std::vector<std::optional<double>>& known_stops) {
    const auto pairs = measurePairs(plates, cells);
    const Eigen::VectorXd known = knownLogGains(known_stops);
    ExposureBalance out;
    out.gains.resize(plates.size());
    out.sigma_stops.assign(plates.size(), 0.0);
    for (int c = 0; c < 3; ++c) {
        const LogGains log = solveChannel(pairs, known, c);
        for (size_t i = 0; i < plates.size(); ++i) {
            out.gains[i][c] = float(std::exp(log.gain(Eigen::Index(i))));
            const double sigma = std::sqrt(std::max(0.0, log.variance(Eigen::Index(i))));
            out.sigma_stops[i] = std::max(out.sigma_stops[i], sigma / std::log(2.0));
        }
    }
    return out;
}

ExposureBalance balanceExposure(const std::vector<PlacedPlate>& plates, PlateStore& store,
                                const std::vector<std::optional<double>>& known_stops) {
    return balanceExposure(plates, lightCells(plates, store), known_stops);
}

}  // namespace plateloom::stitch
