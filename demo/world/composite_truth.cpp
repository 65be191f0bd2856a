#include "world/composite_truth.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace plateloom::world {

namespace {

constexpr float kOpen = 0.02f, kFull = 0.98f;

bool soft(const io::Picture& keyed, int x, int y) {
    const float matte = keyed.at(x, y)[3];
    return matte > kOpen && matte < kFull;
}

// At the matte's edge or next to it.
bool atEdge(const io::Picture& keyed, int x, int y) {
    for (int j = std::max(0, y - 1); j <= std::min(keyed.height - 1, y + 1); ++j)
        for (int i = std::max(0, x - 1); i <= std::min(keyed.width - 1, x + 1); ++i)
            if (soft(keyed, i, j)) return true;
    return false;
}

template <class Where>
EdgeErrors errorsWhere(const Where& where, const io::Picture& made, const io::Picture& truth) {
    EdgeErrors out;
    double sums[3] = {};
    std::vector<double> sizes;
    for (int y = 0; y < truth.height; ++y)
        for (int x = 0; x < truth.width; ++x) {
            if (!where(x, y)) continue;
            ++out.pixels;
            for (int c = 0; c < 3; ++c) {
                const double light = truth.at(x, y)[c];
                const double error = (made.at(x, y)[c] - light) / (light + 0.01);
                sums[c] += error;
                sizes.push_back(std::abs(error));
            }
        }
    if (sizes.empty()) return out;
    for (const double sum : sums)
        if (std::abs(sum / double(out.pixels)) > std::abs(out.mean))
            out.mean = sum / double(out.pixels);
    const auto middle = sizes.begin() + std::ptrdiff_t(sizes.size() / 2);
    std::nth_element(sizes.begin(), middle, sizes.end());
    out.median = *middle;
    return out;
}

io::Picture over(const io::Picture& keyed, const io::Picture& empty) {
    io::Picture out = empty;
    for (int y = 0; y < out.height; ++y)
        for (int x = 0; x < out.width; ++x)
            for (int c = 0; c < 3; ++c)
                out.at(x, y)[c] = keyed.at(x, y)[c] + (1 - keyed.at(x, y)[3]) * empty.at(x, y)[c];
    return out;
}

}  // namespace

CompositeErrors compareComposite(const io::Picture& finished, const io::Picture& location,
                                 const io::Picture& keyed, const io::Picture& empty,
                                 const ViewComparison& how) {
    assert(finished.width == keyed.width && finished.height == keyed.height);
    assert(keyed.channels == 4);
    CompositeErrors out;
    out.whole = compareView(finished, location, how);
    const auto edge = [&](int x, int y) { return atEdge(keyed, x, y); };
    out.edge = errorsWhere(edge, finished, location);
    out.edge_of_over = errorsWhere(edge, over(keyed, empty), location);
    out.performer = errorsWhere(
        [&](int x, int y) { return keyed.at(x, y)[3] >= kFull && !atEdge(keyed, x, y); }, finished,
        location);
    return out;
}

}  // namespace plateloom::world
