#include "stitch/solve/free_network.h"

#include <ceres/crs_matrix.h>

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <Eigen/SparseCholesky>
#include <cmath>
#include <limits>
#include <map>

namespace plateloom::stitch {

namespace {

using Eigen::Matrix3d;
using Eigen::MatrixXd;
using Eigen::SparseMatrix;

// Blocks of the problem that vary, and the column at which each begins in the Jacobian.
struct Columns {
    std::vector<double*> blocks;
    std::map<const double*, int> first;
    int count = 0;

    void add(const ceres::Problem& problem, double* block) {
        if (!block || !problem.HasParameterBlock(block) || problem.IsParameterBlockConstant(block))
            return;
        blocks.push_back(block);
        first[block] = count;
        count += problem.ParameterBlockTangentSize(block);
    }
    [[nodiscard]] int of(const double* block) const {
        const auto at = first.find(block);
        return at == first.end() ? -1 : at->second;
    }
};

SparseMatrix<double> normalMatrix(ceres::Problem& problem, const Columns& columns) {
    ceres::Problem::EvaluateOptions options;
    options.parameter_blocks = columns.blocks;
    options.num_threads = 1;
    ceres::CRSMatrix crs;
    problem.Evaluate(options, nullptr, nullptr, nullptr, &crs);
    const Eigen::Map<const SparseMatrix<double, Eigen::RowMajor>> jacobian(
        crs.num_rows, crs.num_cols, Eigen::Index(crs.values.size()), crs.rows.data(),
        crs.cols.data(), crs.values.data());
    return SparseMatrix<double>(jacobian.transpose()) * SparseMatrix<double>(jacobian);
}

double worstAxis(const Matrix3d& covariance) {
    const Eigen::SelfAdjointEigenSolver<Matrix3d> eigen(covariance, Eigen::EigenvaluesOnly);
    return std::sqrt(std::max(0.0, eigen.eigenvalues()(2)));
}

}  // namespace

FreeNetwork freeNetwork(ceres::Problem& problem, const std::vector<double*>& rotation_blocks,
                        const std::vector<int>& part, const std::vector<double*>& other_blocks) {
    FreeNetwork network;
    network.sigma_rad.assign(rotation_blocks.size(), std::numeric_limits<double>::infinity());
    network.local_sigma_rad = network.sigma_rad;
    network.other_covariance.resize(other_blocks.size());
    Columns columns;
    for (double* block : rotation_blocks) columns.add(problem, block);
    for (double* block : other_blocks) columns.add(problem, block);
    if (columns.count == 0) return network;

    const SparseMatrix<double> normal = normalMatrix(problem, columns);
    const Eigen::SimplicialLDLT<SparseMatrix<double>> solver(normal);
    if (solver.info() != Eigen::Success || !(solver.vectorD().minCoeff() > 0)) return network;
    const MatrixXd covariance = solver.solve(MatrixXd::Identity(columns.count, columns.count));
    if (!covariance.allFinite()) return network;
    network.determined = true;

    const auto block = [&](size_t i, size_t j) -> Matrix3d {
        const int row = columns.of(rotation_blocks[i]), column = columns.of(rotation_blocks[j]);
        if (row < 0 || column < 0) return Matrix3d::Zero();  // a held plate
        return covariance.block<3, 3>(row, column);
    };
    std::map<int, std::vector<size_t>> members;
    for (size_t p = 0; p < rotation_blocks.size(); ++p)
        if (rotation_blocks[p] && problem.HasParameterBlock(rotation_blocks[p]))
            members[part[p]].push_back(p);
    // EigenQuaternionManifold steps by half angles.
    constexpr double kRadPerStep = 2.0;
    for (size_t p = 0; p < rotation_blocks.size(); ++p) {
        if (!rotation_blocks[p] || !problem.HasParameterBlock(rotation_blocks[p])) continue;
        const int at = columns.of(rotation_blocks[p]);
        network.local_sigma_rad[p] =
            at < 0 ? 0 : kRadPerStep * worstAxis(Matrix3d(normal.block(at, at, 3, 3)).inverse());
    }
    for (const auto& [number, plates] : members) {
        const double share = number < 0 ? 0.0 : 1.0 / double(plates.size());
        std::vector<Matrix3d> with_mean(plates.size(), Matrix3d::Zero());
        Matrix3d of_mean = Matrix3d::Zero();
        for (size_t i = 0; share > 0 && i < plates.size(); ++i) {
            for (const size_t other : plates) with_mean[i] += share * block(plates[i], other);
            of_mean += share * with_mean[i];
        }
        for (size_t i = 0; i < plates.size(); ++i)
            network.sigma_rad[plates[i]] =
                kRadPerStep * worstAxis(block(plates[i], plates[i]) - with_mean[i] -
                                        with_mean[i].transpose() + of_mean);
    }
    for (size_t i = 0; i < other_blocks.size(); ++i) {
        const int first = columns.of(other_blocks[i]);
        if (first < 0) continue;
        const int terms = problem.ParameterBlockTangentSize(other_blocks[i]);
        network.other_covariance[i] = covariance.block(first, first, terms, terms);
    }
    return network;
}

}  // namespace plateloom::stitch
