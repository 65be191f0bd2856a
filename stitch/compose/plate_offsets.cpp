#include "stitch/compose/plate_offsets.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr int kStride = 4;                // cells: a sixteenth of them says enough
constexpr int kRounds = 4;                // of reweighting
constexpr float kAgreement_stops = 0.1f;  // a difference of this much halves a cell's weight
constexpr float kWholeCell = 0.98f;
// Where very many plates see a cell, each is compared with so many others: enough to tie all.
constexpr size_t kMostPartners = 6;
constexpr double kPrior = 1.0;  // cells' worth of belief in an offset of 0

struct OffsetSample {
    uint16_t a = 0, b = 0;
    std::array<float, 3> stops{};  // light of a less light of b
};

// Every kStride-th cell of the grid along both axes, with the plates that see it.
std::vector<OffsetSample> sharedCells(const Overview& overview) {
    const int width = overview.grid.width;
    const int across = (width + kStride - 1) / kStride;
    const int down = (overview.grid.height + kStride - 1) / kStride;
    std::vector<std::vector<std::pair<uint16_t, const float*>>> seen(size_t(across) * down);
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        const auto& small = overview.plates[i];
        for (int y = 0; y < small.height; ++y) {
            if ((y + small.y0) % kStride != 0) continue;
            for (int x = 0; x < small.width; ++x) {
                const int at = (x + small.x0) % width;
                if (at % kStride != 0 || small.share[small.at(x, y)] < kWholeCell) continue;
                seen[size_t((y + small.y0) / kStride) * across + size_t(at / kStride)].emplace_back(
                    uint16_t(i), &small.light[3 * small.at(x, y)]);
            }
        }
    }
    std::vector<OffsetSample> samples;
    for (const auto& plates : seen)
        for (size_t i = 0; i < plates.size(); ++i)
            for (size_t j = i + 1; j < std::min(plates.size(), i + 1 + kMostPartners); ++j) {
                const float *a = plates[i].second, *b = plates[j].second;
                samples.push_back(
                    {plates[i].first, plates[j].first, {a[0] - b[0], a[1] - b[1], a[2] - b[2]}});
            }
    return samples;
}

// One channel, one round of least squares with weights from the offsets so far.
Eigen::VectorXd solveRound(const std::vector<OffsetSample>& samples, int channel,
                           const Eigen::VectorXd& offsets) {
    const auto count = offsets.size();
    Eigen::MatrixXd normal = kPrior * Eigen::MatrixXd::Identity(count, count);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(count);
    for (const auto& sample : samples) {
        const double stops = sample.stops[size_t(channel)];
        const double off = (stops - (offsets[sample.a] - offsets[sample.b])) / kAgreement_stops;
        const double weight = 1 / (1 + off * off);
        normal(sample.a, sample.a) += weight;
        normal(sample.b, sample.b) += weight;
        normal(sample.a, sample.b) -= weight;
        normal(sample.b, sample.a) -= weight;
        right[sample.a] += weight * stops;
        right[sample.b] -= weight * stops;
    }
    return normal.ldlt().solve(right);
}

}  // namespace

std::vector<std::array<float, 3>> plateOffsets(const Overview& overview) {
    const auto samples = sharedCells(overview);
    std::vector<std::array<float, 3>> out(overview.plates.size(), {0, 0, 0});
    if (samples.empty()) return out;
    for (int c = 0; c < 3; ++c) {
        Eigen::VectorXd offsets = Eigen::VectorXd::Zero(Eigen::Index(out.size()));
        for (int round = 0; round < kRounds; ++round) offsets = solveRound(samples, c, offsets);
        for (size_t i = 0; i < out.size(); ++i) out[i][size_t(c)] = float(offsets[Eigen::Index(i)]);
    }
    return out;
}

}  // namespace plateloom::stitch
