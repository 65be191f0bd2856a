#include "stitch/solve/rotation_ring.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

// With three windows either way and twenty plates there are some sixty distinct rotations; with
// errors that spread them, some hundreds.
constexpr size_t kMostStates = 600;

struct State {
    Matrix3d thisFromFirst;
    double weight;
    int before, way;  // the state that it came from, and how
};

double angle2(const Matrix3d& a, const Matrix3d& b) {
    return 0.5 * (a - b).squaredNorm();
}

}  // namespace

std::vector<int> closeRing(const std::vector<std::vector<RingStep>>& steps, double tolerance_rad) {
    const double merge2 = std::pow(0.25 * tolerance_rad, 2);
    std::vector<std::vector<State>> row{{{Matrix3d::Identity(), 0, -1, -1}}};
    for (const auto& ways : steps) {
        std::vector<State> reached;
        for (int s = 0; s < int(row.back().size()); ++s)
            for (int w = 0; w < int(ways.size()); ++w)
                reached.push_back({ways[w].nextFromThis * row.back()[s].thisFromFirst,
                                   row.back()[s].weight + ways[w].weight, s, w});
        std::stable_sort(reached.begin(), reached.end(),
                         [](const State& x, const State& y) { return x.weight > y.weight; });
        std::vector<State> kept;
        for (const auto& state : reached) {
            if (kept.size() == kMostStates) break;
            const bool known = std::any_of(kept.begin(), kept.end(), [&](const State& other) {
                return angle2(other.thisFromFirst, state.thisFromFirst) < merge2;
            });
            if (!known) kept.push_back(state);
        }
        row.push_back(std::move(kept));
    }

    // The states are sorted: the first that closes is the best that does.
    const double closed2 = tolerance_rad * tolerance_rad * double(steps.size());
    const auto& last = row.back();
    const auto end = std::find_if(last.begin(), last.end(), [&](const State& state) {
        return angle2(state.thisFromFirst, Matrix3d::Identity()) < closed2;
    });
    std::vector<int> choice;
    if (end == last.end()) return choice;
    const State* state = &*end;
    for (size_t i = steps.size(); i > 0; --i) {
        choice.push_back(state->way);
        state = &row[i - 1][state->before];
    }
    std::reverse(choice.begin(), choice.end());
    return choice;
}

}  // namespace plateloom::stitch
