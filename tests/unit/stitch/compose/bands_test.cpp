#include "stitch/compose/bands.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

struct Blended {
    Overview overview;
    LabelMap labels;
    std::vector<GainField> gains;

    explicit Blended(const Job& job, int width) {
        PlateStore store = job.store();
        overview = makeOverview(job.plates, store, latlong(width));
        labels = findSeams(overview);
        gains = blendBands(overview, {labels, {}, 0});
    }
    // The gain of the plate that shows a cell, times the gain that it came with.
    [[nodiscard]] double level(const Job& job, int x, int y) const {
        const uint16_t label = labels.at(x, y);
        return double(gains[label].at(x, y, labels.width)[0] * job.plates[label].gain[0]);
    }
};

double grey(const Vector3d&) {
    return 0.5;
}

}  // namespace

TEST_CASE("A plate that is alone has a gain of exactly 1") {
    Job job;
    job.add({30, 0, 0}, bendingLens(), kSensor, grey);
    job.add({-150, 0, 0}, bendingLens(), kSensor, [](const Vector3d&) { return 7.0; });
    const Blended blended(job, 2048);
    for (const auto& field : blended.gains) {
        REQUIRE(!field.rgba.empty());
        CHECK(std::all_of(field.rgba.begin(), field.rgba.end(), [](float g) { return g == 1; }));
    }
}

TEST_CASE("Plates that agree are left alone, whatever the scene does at their edges") {
    // A wall of light on one side of every seam and night on the other.
    const auto contrast = [](const Vector3d& d) { return d.z() > 0.3 * d.x() ? 0.02 : 5.0; };
    const Job job = wholeSphere(contrast);
    const Blended blended(job, 4096);
    double worst = 0;
    for (int y = 0; y < blended.labels.height; ++y)
        for (int x = 0; x < blended.labels.width; ++x)
            worst = std::max(worst, std::abs(blended.level(job, x, y) - 1));
    CHECK(worst <
          0.1);  // on the edge itself, where the coarse cells of two plates round differently
    double sum = 0;
    for (int y = 0; y < blended.labels.height; ++y)
        for (int x = 0; x < blended.labels.width; ++x)
            sum += std::abs(blended.level(job, x, y) - 1);
    CHECK(sum / double(blended.labels.label.size()) < 2e-4);
}

TEST_CASE("A step of exposure becomes a slope over several degrees on either side of the seam") {
    Job job;
    job.add({22, 0, 0}, bendingLens(), kSensor, grey);
    job.add({-22, 0, 0}, bendingLens(), kSensor, grey);
    job.plates[0].gain.fill(1.04f);
    job.plates[1].gain.fill(0.96f);
    const Blended blended(job, 8192);
    const int y = blended.labels.height / 2, width = blended.labels.width;
    double largest = 0;
    for (int x = 780; x < 1270; ++x)
        largest =
            std::max(largest, std::abs(blended.level(job, x + 1, y) - blended.level(job, x, y)));
    CHECK(blended.level(job, width / 2 - 190, y) == Approx(1.04).epsilon(0.005));
    CHECK(blended.level(job, width / 2 + 190, y) == Approx(0.96).epsilon(0.005));
    CHECK(blended.level(job, width / 2, y) == Approx(1.0).epsilon(0.01));
    CHECK(largest < 0.008);  // of a step of 0.08
}

TEST_CASE("No gain goes beyond a factor of two, however much plates differ") {
    Job job;
    job.add({22, 0, 0}, bendingLens(), kSensor, grey);
    job.add({-22, 0, 0}, bendingLens(), kSensor, [](const Vector3d&) { return 50.0; });
    const Blended blended(job, 2048);
    for (const auto& field : blended.gains)
        for (const float gain : field.rgba) REQUIRE((gain > 0.5f && gain < 2.0f));
}
