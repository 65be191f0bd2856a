#include "stitch/solve/solve.h"

#include <tbb/global_control.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "calib/angle.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/light_store.h"
#include "stitch/solve/place_plates.h"
#include "stitch/solve/pose_check.h"
#include "stitch/solve/solve_report.h"
#include "stitch/solve/tie_rounds.h"
#include "stitch/ties/pair_search.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;
constexpr size_t kLightBound_bytes = size_t(192) << 20;

// What a place needs: so many ties, and a direction known to a few pixels.
constexpr int kLeastTies = 6;
constexpr double kWorstSigma_px = 5;

double largestDetectorPixel(const Cameras& cameras) {
    double largest = 1;
    for (const auto& plate : cameras.plates) largest = std::max(largest, detectorPixel(plate));
    return largest;
}

// Features again, now that it is known where to look: the true matches of pairs that were refused
// come in here, and those of pairs that were never tried.
TieRound roundByFeatures(Cameras& cameras, const std::vector<PlateFeatures>& features) {
    const double pixel = largestDetectorPixel(cameras);
    const bool unknown = !allLensesKnown(cameras);
    RoundSettings settings;
    settings.radial_terms = unknown ? 2 : 0;
    settings.least_px = 1.5 * pixel;
    TieRound round;
    const auto radii = unknown ? std::vector<double>{12, 6} : std::vector<double>{4};
    for (const double radius : radii) {
        settings.loss_px = 0.25 * radius * pixel;
        round = adjustRound(
            cameras, thinned(guidedTies(cameras, features, radius * pixel), kRoughTies), settings);
    }
    return round;
}

TieRound passByPixels(Cameras& cameras, LightStore& lights, const TieRound& before,
                      SolveMemory* memory, StageClock& clock) {
    const double off_px = std::max(before.typical_px, before.rms_px / std::sqrt(2.0));
    const double search_px = std::clamp(3 * off_px, 1.5, 12.0);
    clock.begin("refine");
    auto ties = registeredTies(cameras, lights, search_px, clock, memory);
    clock.begin("solve");
    const bool unknown = !allLensesKnown(cameras);
    RoundSettings settings;
    settings.radial_terms = unknown ? 3 : 0;
    settings.solve_axis = unknown;
    settings.refocus = std::any_of(cameras.plates.begin(), cameras.plates.end(),
                                   [](const Plate& plate) { return plate.refocused.has_value(); });
    settings.loss_px = 0.25 * search_px;
    settings.least_px = 0.15;
    settings.last = true;
    return adjustRound(cameras, std::move(ties), settings);
}

// The pixels themselves, at full resolution. Where the lens was not known it moves under them, so
// they are looked at again as long as that helps.
TieRound roundByPixels(Cameras& cameras, LightStore& lights, const TieRound& before,
                       const SolveSettings& solve, StageClock& clock) {
    constexpr double kWorthwhile = 0.9;
    const int passes = !allLensesKnown(cameras) ? solve.most_passes : 1;
    TieRound round = before;
    for (int pass = 0; pass < passes; ++pass) {
        Cameras trial = cameras;
        TieRound next = passByPixels(trial, lights, round, solve.memory, clock);
        if (!next.usable) break;
        const bool better = next.rms_px < kWorthwhile * round.rms_px;
        if (pass > 0 && next.rms_px > round.rms_px) break;
        cameras = std::move(trial);
        round = std::move(next);
        if (pass > 0 && !better) break;
    }
    return round;
}

// A plate that the ties hold badly loses its place, and parts are what the ties that are left hold
// together.
void dropLoosePlates(Cameras& cameras, TieRound& round) {
    std::vector<int> ties(cameras.plates.size(), 0);
    for (const auto& tie : round.ties) {
        ++ties[tie.a];
        ++ties[tie.b];
    }
    for (int p = 0; p < cameras.size(); ++p) {
        const calib::LensMap lens(cameras.lens(p), cameras.plates[p].sensor);
        // Its own ties, that is: a long arc may be uncertain as a whole and sound in every joint.
        const bool known = size_t(p) < round.local_sigma_deg.size();
        const double sigma_px = known ? round.local_sigma_deg[p] * kRadPerDeg * lens.focal_px() : 0;
        if (ties[p] >= kLeastTies && sigma_px < kWorstSigma_px) continue;
        cameras.worldFromCamera[p].reset();
        cameras.part[p] = -1;
    }
    TieRound kept = round;
    kept.ties.clear();
    kept.residual_px.clear();
    for (size_t t = 0; t < round.ties.size(); ++t) {
        if (cameras.part[round.ties[t].a] < 0 || cameras.part[round.ties[t].b] < 0) continue;
        kept.ties.push_back(round.ties[t]);
        kept.residual_px.push_back(round.residual_px[t]);
    }
    round = std::move(kept);

    std::vector<int> part(cameras.plates.size());
    for (int p = 0; p < cameras.size(); ++p) part[p] = p;
    for (bool changed = true; changed;) {
        changed = false;
        for (const auto& tie : round.ties) {
            const int least = std::min(part[tie.a], part[tie.b]);
            changed = changed || part[tie.a] != part[tie.b];
            part[tie.a] = part[tie.b] = least;
        }
    }
    for (int p = 0; p < cameras.size(); ++p)
        if (cameras.part[p] >= 0) cameras.part[p] = part[p];
}

// Each group turned as a whole to its poses; `worldFromCamera` keeps only plates of `group`.
std::vector<std::optional<Matrix3d>> only(const Cameras& cameras, const std::vector<int>& group) {
    std::vector<std::optional<Matrix3d>> members(cameras.plates.size());
    for (const int p : group) members[p] = cameras.worldFromCamera[p];
    return members;
}

// The largest group keeps its frame. Other groups and single plates come into it by their poses,
// where they and the largest group have some; the rest lose their places. Returns which plates
// stand by pose.
std::vector<char> placeByPoses(Cameras& cameras, const std::vector<std::vector<int>>& groups) {
    const auto poses = posesOf(cameras);
    std::vector<char> by_pose(cameras.plates.size(), 0), settled(cameras.plates.size(), 0);
    const auto posed = [&](const std::vector<int>& plates) {
        return std::any_of(plates.begin(), plates.end(),
                           [&](int p) { return poses[p].has_value(); });
    };
    std::optional<Matrix3d> solvedFromPose;
    if (groups.empty()) {
        solvedFromPose = Matrix3d::Identity();
    } else {
        for (const int p : groups[0]) settled[p] = 1;
        if (posed(groups[0]))
            solvedFromPose =
                levelRotation(only(cameras, groups[0]), poses, Level::poses, {}).transpose();
    }
    for (size_t g = 1; solvedFromPose && g < groups.size(); ++g) {
        if (!posed(groups[g])) continue;
        const Matrix3d turn =
            *solvedFromPose * levelRotation(only(cameras, groups[g]), poses, Level::poses, {});
        for (const int p : groups[g]) {
            cameras.worldFromCamera[p] = turn * *cameras.worldFromCamera[p];
            settled[p] = by_pose[p] = 1;
        }
    }
    for (int p = 0; p < cameras.size(); ++p) {
        if (settled[p]) continue;
        cameras.worldFromCamera[p].reset();
        if (!solvedFromPose || !poses[p]) continue;
        cameras.worldFromCamera[p] = *solvedFromPose * *poses[p];
        by_pose[p] = 1;
    }
    return by_pose;
}

// With no tie and no pose anywhere, the first plate stands for itself.
void placeAlone(Cameras& cameras) {
    const auto& placed = cameras.worldFromCamera;
    if (std::any_of(placed.begin(), placed.end(), [](const auto& r) { return r.has_value(); }))
        return;
    if (!placed.empty()) cameras.worldFromCamera[0] = Matrix3d::Identity();
}

void levelAll(Cameras& cameras, const SolveSettings& settings) {
    const Matrix3d turn =
        levelRotation(cameras.worldFromCamera, posesOf(cameras), settings.level, settings.north);
    for (auto& rotation : cameras.worldFromCamera)
        if (rotation) *rotation = calib::nearestRotation(turn * *rotation);
}

void addReading(const PlateStore& store, StageClock& clock, std::vector<StageTime>& times) {
    times = clock.times();
    times.insert(times.begin(), {"read", store.secondsReading(), store.pixelsRead()});
    // Reading happened inside the stage that detects, on as many threads.
    for (auto& time : times)
        if (time.stage == "detect")
            time.seconds =
                std::max(0.0, time.seconds -
                                  store.secondsReading() / tbb::this_task_arena::max_concurrency());
}

}  // namespace

Solve solvePlates(const PlateSet& set, PlateStore& store, const SolveSettings& settings,
                  const Progress& progress) {
    std::unique_ptr<tbb::global_control> limit;
    if (settings.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(settings.threads));
    StageClock clock(progress);
    Cameras cameras = startingCameras(set.plates);
    LightStore lights(cameras.plates, store, kLightBound_bytes);

    clock.begin("detect");
    const auto features =
        featuresOfPlates(cameras, lights, settings.features, settings.memory, clock);
    clock.begin("match");
    const FirstLook look = placePlates(cameras, features, settings.memory, clock);
    clock.begin("solve");
    TieRound round = roundByFeatures(cameras, features);
    round = roundByPixels(cameras, lights, round, settings, clock);
    dropLoosePlates(cameras, round);

    Solve solve;
    solve.groups = groupsOfParts(cameras.part);
    if (!solve.groups.empty()) {
        const PoseCheck poses = checkPoses(cameras, solve.groups.front());
        if (poses.mirrored) mirrorPans(cameras);
        if (!poses.off.empty()) {
            solve.warnings.push_back(poses.inWords(cameras));
            solve.needs_a_look = true;
        }
    }
    const auto by_pose = placeByPoses(cameras, solve.groups);
    placeAlone(cameras);
    levelAll(cameras, settings);
    solve.plates = solvedPlates(cameras, round, by_pose);
    for (int p = 0; p < cameras.size(); ++p) {
        auto& plate = solve.plates[p];
        if (plate.placed && !by_pose[p]) continue;
        if (cameras.plates.size() == 1) continue;
        const auto why = whyNotPlaced(p, cameras, features, look, solve.groups);
        plate.why_not = why;
        solve.warnings.push_back(plate.file +
                                 (plate.placed ? ": placed by its pose; " : ": left out; ") + why);
    }
    for (const auto& found : features) solve.features.push_back(int(found.recorded_px.size()));
    auto lenses = foundLenses(cameras);
    solve.notes = std::move(lenses.notes);
    solve.warnings.insert(solve.warnings.end(), lenses.warnings.begin(), lenses.warnings.end());
    solve.ties = std::move(round.ties);
    solve.residual_px = std::move(round.residual_px);
    solve.refused = std::move(round.refused);
    solve.rms_px = round.rms_px;
    clock.end();
    addReading(store, clock, solve.times);
    return solve;
}

}  // namespace plateloom::stitch
