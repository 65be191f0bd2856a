#include "stitch/solve/rotation_graph.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "calib/pose.h"
#include "stitch/solve/level.h"
#include "stitch/solve/rotation_averaging.h"
#include "stitch/solve/rotation_search.h"

namespace plateloom::stitch {

namespace {

using Rotations = std::vector<std::optional<Matrix3d>>;

// A pose never refuses a hypothesis alone (heads slip, tracks are wrong), but of two that look the
// same it takes the one that it expects.
constexpr double kLeastPoseFactor = 0.3;

double poseFactor(const PairRotation& h, const Rotations& poses, double pose_sigma_deg) {
    if (!poses[h.a] || !poses[h.b]) return 1;
    const Matrix3d bFromA = poses[h.b]->transpose() * *poses[h.a];
    const double sigmas =
        calib::angleBetween_deg(bFromA, h.bFromA) / (std::sqrt(2.0) * pose_sigma_deg);
    return kLeastPoseFactor + (1 - kLeastPoseFactor) * std::exp(-0.5 * sigmas * sigmas);
}

// Hypotheses in an order that does not depend on the caller's, those of one pair together.
std::vector<int> orderOf(const std::vector<PairRotation>& hypotheses) {
    std::vector<int> order(hypotheses.size());
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(), [&](int x, int y) {
        const auto &p = hypotheses[x], &q = hypotheses[y];
        return std::tie(p.a, p.b, q.inliers) < std::tie(q.a, q.b, p.inliers);
    });
    return order;
}

// Groups by the kept pairs, numbered from the largest; -1 for a plate that nothing ties.
std::vector<int> groupsOf(int plates, const std::vector<PairRotation>& kept) {
    std::vector<int> part(plates);
    std::iota(part.begin(), part.end(), 0);
    for (bool changed = true; changed;) {
        changed = false;
        for (const auto& pair : kept) {
            const int least = std::min(part[pair.a], part[pair.b]);
            if (part[pair.a] != least || part[pair.b] != least) changed = true;
            part[pair.a] = part[pair.b] = least;
        }
    }
    std::vector<int> size(plates, 0), by_size;
    for (const int p : part) ++size[p];
    for (int p = 0; p < plates; ++p)
        if (size[p] > 1) by_size.push_back(p);
    std::stable_sort(by_size.begin(), by_size.end(),
                     [&](int x, int y) { return size[x] > size[y]; });
    std::vector<int> number(plates, -1), group(plates);
    for (size_t i = 0; i < by_size.size(); ++i) number[by_size[i]] = int(i);
    for (int p = 0; p < plates; ++p) group[p] = number[part[p]];
    return group;
}

void turnGroupsToPoses(const std::vector<int>& group, const Rotations& poses,
                       Rotations& worldFromCamera) {
    const int groups = 1 + *std::max_element(group.begin(), group.end());
    for (int g = 0; g < groups; ++g) {
        Rotations members(group.size());
        bool posed = false;
        for (size_t p = 0; p < group.size(); ++p) {
            if (group[p] != g) continue;
            members[p] = worldFromCamera[p];
            posed = posed || poses[p];
        }
        if (!posed) continue;
        const Matrix3d turn = levelRotation(members, poses, Level::poses, std::nullopt);
        for (size_t p = 0; p < group.size(); ++p)
            if (group[p] == g) worldFromCamera[p] = turn * *worldFromCamera[p];
    }
}

}  // namespace

RotationGraph chooseRotations(int plates, const std::vector<PairRotation>& hypotheses,
                              const std::vector<std::optional<Matrix3d>>& given_poses,
                              double pose_sigma_deg, double tolerance_deg,
                              const ExpectedMatches& expected) {
    Rotations poses = given_poses;
    poses.resize(plates);
    const auto order = orderOf(hypotheses);
    // A pair's explanations were taken off its matches one after the other, so a later one was
    // asked about fewer: all are held to as many as any of them.
    std::map<std::pair<int, int>, int> in_overlap;
    for (const auto& h : hypotheses) {
        int& most = in_overlap[{h.a, h.b}];
        most = std::max(most, h.in_overlap);
    }
    std::vector<WeighedHypothesis> weighed;
    for (const int i : order) {
        const auto& h = hypotheses[i];
        weighed.push_back({h.a, h.b, h.bFromA,
                           evidenceWeight(h.inliers, in_overlap[{h.a, h.b}]) *
                               poseFactor(h, poses, pose_sigma_deg),
                           double(h.inliers)});
    }
    const RotationSearch search(plates, weighed, tolerance_deg, expected);

    RotationGraph graph;
    graph.worldFromCamera.resize(plates);
    graph.group.assign(plates, -1);
    Rotations all(plates);
    std::vector<char> among(plates, 1);
    std::vector<char> agrees(weighed.size(), 0);
    for (;;) {
        Rotations part = search.best(among);
        int placed = 0;
        for (size_t i = 0; i < weighed.size(); ++i)
            if (search.agreement(weighed[i], part) > 0) agrees[i] = 1;
        for (int p = 0; p < plates; ++p) {
            if (!part[p]) continue;
            all[p] = part[p];
            among[p] = 0;
            ++placed;
        }
        if (placed == 0) break;
    }

    for (size_t i = 0; i < weighed.size(); ++i) {
        if (agrees[i])
            graph.kept.push_back(hypotheses[order[i]]);
        else
            ++graph.refused;
    }
    graph.group = groupsOf(plates, graph.kept);
    turnGroupsToPoses(graph.group, poses, all);
    graph.inOwnGroup.resize(plates);
    for (int p = 0; p < plates; ++p) {
        if (graph.group[p] >= 0) graph.inOwnGroup[p] = all[p];
        if (graph.group[p] == 0) graph.worldFromCamera[p] = all[p];
    }
    return graph;
}

}  // namespace plateloom::stitch
