#include "stitch/solve/tie_cost.h"

#include <ceres/autodiff_cost_function.h>

#include <catch2/catch.hpp>
#include <memory>
#include <random>

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

using ByNumber = ceres::AutoDiffCostFunction<TieResidual, 2, 4, 4, kLensTerms, kLensTerms, 1, 1>;

TieResidual someTie(std::mt19937& random, bool bends) {
    std::uniform_real_distribution<double> at(-15, 15), share(0.98, 1.02);
    TieResidual tie;
    tie.a = {{at(random), at(random)}, 28, 20.6, {50, 52}, bends, share(random),
             {at(random), at(random)}};
    tie.b = {{at(random), at(random)}, 35, 20.6, {50, 52}, bends, share(random),
             {at(random), at(random)}};
    std::uniform_real_distribution<double> slope(-20, 20);
    for (FlatPoint* end : {&tie.a, &tie.b}) {
        for (double& one : end->by_tangential_mm.reshaped()) one = slope(random);
        for (double& one : end->by_radial_mm.reshaped()) one = slope(random);
    }
    tie.weight = 3;
    return tie;
}

std::vector<double> values(const ceres::CostFunction& cost, const std::vector<double*>& at,
                           std::vector<std::vector<double>>* slopes) {
    std::vector<double> residual(2);
    std::vector<double*> to;
    slopes->clear();
    for (const int size : cost.parameter_block_sizes()) slopes->emplace_back(size_t(2 * size), 0.0);
    for (auto& block : *slopes) to.push_back(block.data());
    REQUIRE(cost.Evaluate(at.data(), residual.data(), to.data()));
    return residual;
}

void checkSame(const std::vector<double>& a, const std::vector<double>& b) {
    REQUIRE(a.size() == b.size());
    for (size_t i = 0; i < a.size(); ++i) CHECK(a[i] == Approx(b[i]).epsilon(1e-10).margin(1e-9));
}

}  // namespace

TEST_CASE("A tie's written-out derivatives are those that follow from its residual") {
    std::mt19937 random(3);
    std::uniform_real_distribution<double> turn(-1, 1), little(-0.05, 0.05);
    // Half of them look so far apart that the ray is held at the side of camera b.
    for (int draw = 0; draw < 40; ++draw) {
        const TieResidual tie = someTie(random, draw % 4 != 0);
        const double apart = draw % 2 ? 1.5 : 0.2;
        Eigen::Quaterniond qa(1, apart * turn(random), apart * turn(random), apart * turn(random));
        Eigen::Quaterniond qb(1, apart * turn(random), apart * turn(random), apart * turn(random));
        qa.normalize();
        qb.normalize();
        double la[kLensTerms], lb[kLensTerms], fa = 1 + little(random), fb = 1 + little(random);
        for (int i = 0; i < kLensTerms; ++i) {
            la[i] = (i == 0) + little(random);
            lb[i] = (i == 0) + little(random);
        }
        const std::vector<double*> at = {qa.coeffs().data(), qb.coeffs().data(), la, lb, &fa, &fb};
        const ByNumber by_number(new TieResidual(tie));
        std::vector<std::vector<double>> wanted, slopes;
        const auto residual = values(by_number, at, &wanted);

        const std::unique_ptr<ceres::CostFunction> two(tieWithTwoLenses(tie));
        checkSame(values(*two, at, &slopes), residual);
        for (size_t block = 0; block < at.size(); ++block) checkSame(slopes[block], wanted[block]);

        TieResidual held = tie;
        std::copy_n(la, kLensTerms, held.lens_a.begin());
        std::copy_n(lb, kLensTerms, held.lens_b.begin());
        double still = 1;
        const std::unique_ptr<ceres::CostFunction> fixed(tieWithLensFixed(held));
        const auto unmoved = values(by_number, {at[0], at[1], la, lb, &still, &still}, &wanted);
        checkSame(values(*fixed, {at[0], at[1]}, &slopes), unmoved);
        checkSame(slopes[0], wanted[0]);
        checkSame(slopes[1], wanted[1]);

        const std::unique_ptr<ceres::CostFunction> one(tieWithOneLens(tie));
        const auto shared = values(by_number, {at[0], at[1], la, la, &fa, &fb}, &wanted);
        checkSame(values(*one, {at[0], at[1], la, &fa, &fb}, &slopes), shared);
        for (size_t i = 0; i < wanted[2].size(); ++i) wanted[2][i] += wanted[3][i];
        checkSame(slopes[2], wanted[2]);
        checkSame(slopes[3], wanted[4]);
        checkSame(slopes[4], wanted[5]);
    }
}
