#include "stitch/plates/lens_groups.h"

#include <catch2/catch.hpp>

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

std::vector<Plate> plates(const std::vector<double>& focal_mm, double focal_sigma) {
    std::vector<Plate> out(focal_mm.size());
    for (size_t i = 0; i < out.size(); ++i) {
        out[i].sensor = {36, 20.25, 2048, 1152};
        out[i].lens.focal_mm = focal_mm[i];
        out[i].focal_sigma = focal_sigma;
    }
    return out;
}

std::vector<int> groups(std::vector<Plate>& set, const std::vector<std::string>& identity) {
    groupByLens(identity, &set);
    std::vector<int> out;
    for (const Plate& plate : set) out.push_back(plate.lens_group);
    return out;
}

}  // namespace

TEST_CASE("A lens that is measured as it breathes is one lens", "[lens_groups]") {
    const std::vector<std::string> one{"a", "a", "a"};
    auto set = plates({28.0, 28.3, 28.3}, 0.001);
    CHECK(groups(set, one) == std::vector<int>{0, 0, 0});
    CHECK(set[0].known_breathing == Approx(28.0 / 28.2));
    CHECK(set[1].known_breathing == Approx(28.3 / 28.2));

    SECTION("a zoom that moved is not") {
        set = plates({28.0, 35.0, 28.1}, 0.001);
        CHECK(groups(set, one) == std::vector<int>{0, 1, 0});
        CHECK(set[1].known_breathing == 1);
    }
    SECTION("nor are focal lengths that nobody measured") {
        set = plates({28.0, 28.3, 28.05}, 0.03);
        CHECK(groups(set, one) == std::vector<int>{0, 1, 0});
        CHECK(set[2].known_breathing == 1);
    }
    SECTION("nor two cameras") {
        CHECK(groups(set, {"a", "b", "a"}) == std::vector<int>{0, 1, 0});
    }
    SECTION("with its distortion known there is nothing to tell") {
        for (auto& plate : set) plate.distortion_known = true;
        CHECK(groups(set, one) == std::vector<int>{0, 0, 0});
        CHECK(set[1].known_breathing == 1);
    }
}
