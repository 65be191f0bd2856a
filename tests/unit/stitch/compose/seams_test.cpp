#include "stitch/compose/seams.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <optional>
#include <set>

#include "stitch/compose/label_expansion.h"
#include "stitch/compose/plate_offsets.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

Overview overviewOf(const Job& job, int width) {
    PlateStore store = job.store();
    return makeOverview(job.plates, store, latlong(width));
}

double wall(const Vector3d& d) {
    return 0.5 + 0.1 * std::sin(15 * d.x()) + 0.1 * std::sin(11 * d.z());
}

struct Row {
    double tilt_deg;
    int plates;
};

// Level rows of plates all round.
Job rowsOf(const std::vector<Row>& rows) {
    calib::Lens lens;
    lens.focal_mm = 28;
    Job job;
    for (const auto& row : rows)
        for (int k = 0; k < row.plates; ++k)
            job.add({360.0 * k / row.plates + row.tilt_deg / 3, row.tilt_deg, 0}, lens, kSensor,
                    wall);
    return job;
}

// How far a direction lies from the middle of a plate's picture, in half diagonals; nothing where
// the plate does not show it.
std::optional<double> offCentre(const PlacedPlate& plate, const Vector3d& direction) {
    const auto px = plate.lens.recordedFromRay(plate.cameraFromDirection(direction));
    if (!px || !plate.lens.inPicture(*px)) return std::nullopt;
    const Vector2d half(0.5 * plate.lens.sensor().width_px, 0.5 * plate.lens.sensor().height_px);
    return (*px - half).norm() / half.norm();
}

// Share of the shown area that comes from beyond 0.8 of a frame's half diagonal although another
// plate shows it within 0.75 of its own.
double needlesslyOuter(const Job& job, int width) {
    const Overview overview = overviewOf(job, width);
    const LabelMap map = findSeams(overview);
    double all = 0, outer = 0;
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x) {
            const uint16_t label = map.at(x, y);
            if (label == kNoPlate) continue;
            const double area = std::sin(M_PI * (y + 0.5) / map.height);
            all += area;
            const Vector3d direction = overview.grid.directionAt(x + 0.5, y + 0.5);
            const auto here = offCentre(job.plates[label], direction);
            if (here && *here <= 0.8) continue;
            outer += area * std::any_of(job.plates.begin(), job.plates.end(), [&](const auto& p) {
                         const auto there = offCentre(p, direction);
                         return there && *there < 0.75;
                     });
        }
    return outer / all;
}

}  // namespace

TEST_CASE("A frame's outer fifth is not shown where another plate has the place nearer its middle",
          "[seams][centres]") {
    const std::vector<std::vector<Row>> shoots = {{{-62, 7}, {-31, 10}, {0, 10}, {31, 10}, {62, 7}},
                                                  {{-32, 8}, {0, 8}, {32, 8}}};
    for (const auto& rows : shoots) {
        const Job job = rowsOf(rows);
        CAPTURE(job.plates.size());
        CHECK(needlesslyOuter(job, 1568) < 0.01);  // the plates' own resolution
        CHECK(needlesslyOuter(job, 4096) < 0.01);
    }
}

TEST_CASE("Two plates side by side above the horizon meet in one seam", "[seams][centres]") {
    calib::Lens lens;
    lens.focal_mm = 28;
    Job job;
    job.add({15, 33, 0}, lens, kSensor, wall);
    job.add({-15, 33, 0}, lens, kSensor, wall);
    for (const int width : {1568, 4096}) {
        const LabelMap map = findSeams(overviewOf(job, width));
        const int y = int(std::lround((90 - 33.0) / 180 * map.height));
        int seams = 0;
        for (int x = 0; x + 1 < map.width; ++x)
            seams += map.at(x, y) != kNoPlate && map.at(x + 1, y) != kNoPlate &&
                     map.at(x, y) != map.at(x + 1, y);
        CHECK(seams == 1);
    }
}

TEST_CASE("Every cell that a plate sees whole has a label, and one of a plate that sees it") {
    const Job job = wholeSphere(wall);
    const Overview overview = overviewOf(job, 2048);
    const LabelMap map = findSeams(overview);
    const auto offsets = plateOffsets(overview);
    const OverviewDifferences differences(overview, offsets);
    const LabelExpansion expansion(overview, differences);
    size_t missing = 0, blind = 0;
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x) {
            missing += map.at(x, y) == kNoPlate;
            blind += map.at(x, y) != kNoPlate && !expansion.sees(map.at(x, y), x, y);
        }
    CHECK(missing == 0);
    CHECK(blind == 0);
}

TEST_CASE("Expansion lowers the energy, and no plate alone could lower it further by one cell") {
    const Job job = wholeSphere(wall);
    const Overview overview = overviewOf(job, 512);
    const auto offsets = plateOffsets(overview);
    const OverviewDifferences differences(overview, offsets);
    const LabelExpansion expansion(overview, differences);
    LabelMap map = findSeams(overview);
    auto labels = map.label;
    expansion.lower(labels, nullptr);
    const double energy = expansion.energy(labels);
    CHECK(energy <= expansion.energy(map.label));
    double least = energy;
    for (size_t i = 0; i < labels.size(); i += 37) {
        const uint16_t kept = labels[i];
        for (uint16_t plate = 0; plate < job.plates.size(); ++plate) {
            if (!expansion.sees(plate, int(i) % map.width, int(i) / map.width)) continue;
            labels[i] = plate;
            least = std::min(least, expansion.energy(labels));
        }
        labels[i] = kept;
    }
    CHECK(least > energy * 0.999);
}

TEST_CASE("Seams don't care where the panorama's edge lies") {
    // The same two plates, once in the middle and once across the edge.
    const auto seamCells = [](double pan) {
        Job job;
        const auto turned = [pan](const Vector3d& d) {
            return wall(calib::worldFromCamera({-pan, 0, 0}) * d);
        };
        job.add({pan + 20, 0, 0}, bendingLens(), kSensor, turned);
        job.add({pan - 20, 4, 0}, bendingLens(), kSensor, turned);
        const LabelMap map = findSeams(overviewOf(job, 2048));
        std::multiset<int> sizes;
        for (uint16_t plate : {0, 1})
            sizes.insert(int(std::count(map.label.begin(), map.label.end(), plate)));
        return sizes;
    };
    CHECK(seamCells(0) == seamCells(180));
}

TEST_CASE("Offsets left after exposure are found, and what moved does not disturb them") {
    const double swing = 0.06;
    Job job;
    const auto with_tram = [](const Vector3d& d) { return std::abs(d.z()) < 0.1 ? 4.0 : wall(d); };
    for (int k = 0; k < 8; ++k)
        job.add({45.0 * k, 0, 0}, bendingLens(), kSensor, k == 3 ? Light(with_tram) : Light(wall));
    std::vector<double> stops;
    for (size_t k = 0; k < 8; ++k) {
        stops.push_back(swing * std::sin(2.0 * double(k)));
        job.plates[k].gain.fill(float(std::exp2(stops[k])));
    }
    double mean = 0;
    for (const double s : stops) mean += s / 8;
    const auto offsets = plateOffsets(overviewOf(job, 4096));
    for (size_t k = 0; k < 8; ++k)
        for (const float offset : offsets[k]) CHECK(offset == Approx(stops[k] - mean).margin(0.01));
}
