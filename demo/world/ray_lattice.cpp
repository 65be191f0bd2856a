#include "world/ray_lattice.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <array>

namespace plateloom::world {

namespace {

// Lagrange weights of the nodes at -1, 0, 1, 2 for a place t in [0, 1].
std::array<double, 4> cubicWeights(double t) {
    const double a = t + 1, b = t - 1, c = t - 2;
    return {-t * b * c / 6, a * b * c / 2, -a * t * c / 2, a * t * b / 6};
}

}  // namespace

RayLattice::RayLattice(GridRay exact, int width, int height)
    : exact_(std::move(exact)), width_(width), height_(height) {
    columns_ = (width + kStep - 1) / kStep + 3;
    const int rows = (height + kStep - 1) / kStep + 3;
    nodes_.assign(size_t(columns_) * size_t(rows), Vector3d::Zero());
    whole_.assign(nodes_.size(), 0);
    tbb::parallel_for(tbb::blocked_range<int>(0, rows), [&](const auto& range) {
        for (int j = range.begin(); j < range.end(); ++j)
            for (int i = 0; i < columns_; ++i)
                if (const auto ray = exact_((i - 1) * kStep, (j - 1) * kStep))
                    nodes_[size_t(j) * size_t(columns_) + size_t(i)] = *ray;
    });
    for (int j = 0; j + 3 < rows; ++j)
        for (int i = 0; i + 3 < columns_; ++i) {
            bool whole = true;
            for (int m = 0; m < 16; ++m) {
                const auto& node = nodes_[size_t(j + m / 4) * size_t(columns_) + size_t(i + m % 4)];
                whole = whole && !node.isZero(0);
            }
            whole_[size_t(j) * size_t(columns_) + size_t(i)] = whole;
        }
}

std::optional<Vector3d> RayLattice::at(double x, double y) const {
    const double u = x / kStep, v = y / kStep;
    const int i = int(u), j = int(v);
    const size_t corner = size_t(j) * size_t(columns_) + size_t(i);
    if (!whole_[corner]) return exact_(x, y);
    const auto wx = cubicWeights(u - i), wy = cubicWeights(v - j);
    Vector3d sum = Vector3d::Zero();
    for (size_t row = 0; row < 4; ++row) {
        const Vector3d* node = &nodes_[corner + row * size_t(columns_)];
        sum += wy[row] * (wx[0] * node[0] + wx[1] * node[1] + wx[2] * node[2] + wx[3] * node[3]);
    }
    return sum.normalized();
}

}  // namespace plateloom::world
