#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/flann.hpp>

#include "calib/angle.h"

#include "stitch/ties/pairs.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;

// Up to this many plates, trying every pair costs less than choosing.
constexpr int kAllPairs = 12;

struct ScoredPair {
    int a = 0, b = 0;
    double score = 0;
};

bool hasPlace(const Plate& plate) {
    return plate.pose && plate.lens.focal_mm > 0;
}

// Share of plate a that plate b sees, if both looked where their poses say; b's frame is widened by
// twice the poses' uncertainty.
double seenShare(const Plate& a, const Plate& b, const calib::LensMap& lens_a,
                 const calib::LensMap& lens_b) {
    constexpr int kColumns = 16, kRows = 9;
    const Matrix3d bFromA =
        calib::worldFromCamera(*b.pose).transpose() * calib::worldFromCamera(*a.pose);
    const double doubt_deg = std::hypot(a.pose_sigma_deg, b.pose_sigma_deg);
    const double margin_px =
        lens_b.focal_px() * std::tan(std::min(10.0, 2 * doubt_deg) * kRadPerDeg);
    int seen = 0;
    for (int j = 0; j < kRows; ++j) {
        for (int i = 0; i < kColumns; ++i) {
            const auto ray = lens_a.rayFromRecorded(
                {(i + 0.5) * a.sensor.width_px / kColumns, (j + 0.5) * a.sensor.height_px / kRows});
            if (!ray) continue;
            const auto px = lens_b.recordedFromRay(bFromA * *ray);
            seen += px && px->x() > -margin_px && px->y() > -margin_px &&
                    px->x() < b.sensor.width_px + margin_px &&
                    px->y() < b.sensor.height_px + margin_px;
        }
    }
    return double(seen) / (kColumns * kRows);
}

std::vector<ScoredPair> pairsByPose(const std::vector<Plate>& plates) {
    constexpr double kLeastShare = 0.02;
    std::vector<calib::LensMap> lenses;
    lenses.reserve(plates.size());
    for (const Plate& plate : plates) {
        lenses.push_back(hasPlace(plate) ? calib::LensMap(plate.lens, plate.sensor)
                                         : calib::LensMap());
    }
    std::vector<ScoredPair> pairs;
    for (int a = 0; a < int(plates.size()); ++a) {
        for (int b = a + 1; b < int(plates.size()); ++b) {
            if (!hasPlace(plates[a]) || !hasPlace(plates[b])) continue;
            const double share = std::max(seenShare(plates[a], plates[b], lenses[a], lenses[b]),
                                          seenShare(plates[b], plates[a], lenses[b], lenses[a]));
            if (share >= kLeastShare) pairs.push_back({a, b, share});
        }
    }
    return pairs;
}

// The features of a plate that are worth a look from every other plate: large and strong ones.
std::vector<int> leadingFeatures(const PlateFeatures& features, int wanted) {
    std::vector<int> order(features.recorded_px.size());
    std::iota(order.begin(), order.end(), 0);
    const auto weight = [&](int i) { return features.size_px[i] * features.response[i]; };
    std::stable_sort(order.begin(), order.end(),
                     [&](int i, int j) { return weight(i) > weight(j); });
    order.resize(std::min(order.size(), size_t(wanted)));
    return order;
}

// Every leading feature votes for the plates that hold its nearest neighbours (Brown and Lowe 2007,
// section 3). A vote is worth how much nearer that neighbour is than the farthest looked at, which
// stands for chance: what looks like everything else says nothing.
std::vector<double> votes(const std::vector<PlateFeatures>& features) {
    constexpr int kRows = 30000, kLeast = 250, kMost = 600;  // 50 us a row
    constexpr int kLook = 5, kTrees = 4, kChecks = 48;
    const int plates = int(features.size());
    const int leading = std::clamp(kRows / std::max(1, plates), kLeast, kMost);
    std::vector<double> votes(size_t(plates) * plates, 0.0);
    std::vector<int> plate_of_row;
    std::vector<std::pair<int, int>> rows;
    for (int plate = 0; plate < plates; ++plate) {
        for (const int i : leadingFeatures(features[plate], leading)) rows.push_back({plate, i});
    }
    if (int(rows.size()) <= kLook) return votes;
    cv::Mat descriptors(int(rows.size()), 128, CV_32F);
    for (int row = 0; row < descriptors.rows; ++row) {
        features[rows[row].first]
            .descriptors.row(rows[row].second)
            .convertTo(descriptors.row(row), CV_32F, 1.0 / 512.0);
    }
    cv::setRNGSeed(1);  // the trees are random: the same ones every time
    cv::flann::Index index(descriptors, cv::flann::KDTreeIndexParams(kTrees));
    cv::Mat neighbours, distances;
    index.knnSearch(descriptors, neighbours, distances, kLook, cv::flann::SearchParams(kChecks));
    for (int row = 0; row < descriptors.rows; ++row) {
        const float chance = distances.at<float>(row, kLook - 1);
        const int from = rows[row].first;
        for (int k = 0; k < kLook - 1; ++k) {
            const int found = neighbours.at<int>(row, k);
            if (found < 0 || rows[found].first == from || !(chance > 0)) continue;
            const double vote = 1.0 - distances.at<float>(row, k) / chance;
            const int to = rows[found].first;
            votes[size_t(std::min(from, to)) * plates + std::max(from, to)] += std::max(0.0, vote);
        }
    }
    return votes;
}

std::vector<ScoredPair> pairsByVotes(const std::vector<Plate>& plates,
                                     const std::vector<PlateFeatures>& features) {
    // Neighbours in file order were mostly shot one after the other.
    constexpr double kConsecutive = 2.0;
    const int count = int(plates.size());
    const std::vector<double> vote = votes(features);
    std::vector<ScoredPair> pairs;
    for (int a = 0; a < count; ++a) {
        for (int b = a + 1; b < count; ++b) {
            if (hasPlace(plates[a]) && hasPlace(plates[b])) continue;
            const double score = vote[size_t(a) * count + b] + (b == a + 1 ? kConsecutive : 0.0);
            if (score > 0 || count <= kAllPairs) pairs.push_back({a, b, score});
        }
    }
    return pairs;
}

}  // namespace

std::vector<std::pair<int, int>> candidatePairs(const std::vector<Plate>& plates,
                                                const std::vector<PlateFeatures>& features,
                                                int per_plate) {
    std::vector<ScoredPair> pairs = pairsByPose(plates);
    const bool all_placed = std::all_of(plates.begin(), plates.end(), hasPlace);
    if (!all_placed) {
        const auto voted = pairsByVotes(plates, features);
        double most = 1e-9;
        for (const ScoredPair& pair : voted) most = std::max(most, pair.score);
        for (ScoredPair pair : voted) {
            pair.score /= most;
            pairs.push_back(pair);
        }
    }
    std::stable_sort(pairs.begin(), pairs.end(),
                     [](const ScoredPair& l, const ScoredPair& r) { return l.score > r.score; });
    const bool everything = int(plates.size()) <= kAllPairs && !all_placed;
    std::vector<int> taken(plates.size(), 0);
    std::vector<std::pair<int, int>> chosen;
    for (const ScoredPair& pair : pairs) {
        if (!everything && taken[pair.a] >= per_plate && taken[pair.b] >= per_plate) continue;
        ++taken[pair.a];
        ++taken[pair.b];
        chosen.push_back({pair.a, pair.b});
    }
    return chosen;
}

}  // namespace plateloom::stitch
