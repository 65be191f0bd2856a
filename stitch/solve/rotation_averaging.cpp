#include "stitch/solve/rotation_averaging.h"

#include <Eigen/Geometry>
#include <Eigen/SparseCholesky>
#include <numeric>

#include "calib/angle.h"
#include "calib/pose.h"
#include "calib/rotation_vector.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;

int rootOf(std::vector<int>& parent, int i) {
    while (parent[i] != i) i = parent[i] = parent[parent[i]];
    return i;
}

// Column of each plate among the unknowns: -1 for the plates that stay.
std::vector<int> unknownsOf(size_t plates, const std::vector<WeightedRotation>& pairs, int* count) {
    std::vector<int> parent(plates);
    std::iota(parent.begin(), parent.end(), 0);
    std::vector<char> tied(plates, 0);
    for (const auto& pair : pairs) {
        const int a = rootOf(parent, pair.a), b = rootOf(parent, pair.b);
        parent[std::max(a, b)] = std::min(a, b);  // so a root is its part's lowest index
        tied[pair.a] = tied[pair.b] = 1;
    }
    std::vector<int> column(plates, -1);
    *count = 0;
    for (size_t i = 0; i < plates; ++i)
        if (tied[i] && rootOf(parent, int(i)) != int(i)) column[i] = (*count)++;
    return column;
}

}  // namespace

Vector3d pairError(const Matrix3d& worldFromA, const Matrix3d& worldFromB, const Matrix3d& bFromA) {
    return calib::rotationVector(worldFromA * bFromA.transpose() * worldFromB.transpose());
}

void averageRotations(std::vector<std::optional<Matrix3d>>& worldFromCamera,
                      const std::vector<WeightedRotation>& all_pairs, double scale_deg,
                      int iterations) {
    std::vector<WeightedRotation> pairs;
    for (const auto& pair : all_pairs)
        if (worldFromCamera[pair.a] && worldFromCamera[pair.b]) pairs.push_back(pair);
    int unknowns = 0;
    const auto column = unknownsOf(worldFromCamera.size(), pairs, &unknowns);
    if (unknowns == 0) return;

    const double scale2 = std::pow(scale_deg * kRadPerDeg, 2);
    Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solver;
    for (int iteration = 0; iteration < iterations; ++iteration) {
        std::vector<Eigen::Triplet<double>> entries;
        Eigen::MatrixX3d right = Eigen::MatrixX3d::Zero(unknowns, 3);
        for (const auto& pair : pairs) {
            const Vector3d error =
                pairError(*worldFromCamera[pair.a], *worldFromCamera[pair.b], pair.bFromA);
            const double share = scale2 / (scale2 + error.squaredNorm());
            // Never quite zero, so that the system stays solvable.
            const double weight = pair.weight * std::max(share * share, 1e-6);
            const int a = column[pair.a], b = column[pair.b];
            if (a >= 0) {
                entries.emplace_back(a, a, weight);
                right.row(a) -= weight * error.transpose();
            }
            if (b >= 0) {
                entries.emplace_back(b, b, weight);
                right.row(b) += weight * error.transpose();
            }
            if (a >= 0 && b >= 0) {
                entries.emplace_back(a, b, -weight);
                entries.emplace_back(b, a, -weight);
            }
        }
        Eigen::SparseMatrix<double> normal(unknowns, unknowns);
        normal.setFromTriplets(entries.begin(), entries.end());
        solver.compute(normal);
        if (solver.info() != Eigen::Success) return;
        const Eigen::MatrixX3d turn = solver.solve(right);
        double largest = 0;
        for (size_t i = 0; i < worldFromCamera.size(); ++i) {
            if (column[i] < 0) continue;
            const Vector3d w = turn.row(column[i]).transpose();
            const double angle = w.norm();
            largest = std::max(largest, angle);
            if (angle > 0)
                *worldFromCamera[i] =
                    calib::nearestRotation(calib::rotationOf(w) * *worldFromCamera[i]);
        }
        if (largest < 1e-9) break;
    }
}

}  // namespace plateloom::stitch
