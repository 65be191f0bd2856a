#include "stitch/mount/first_moment.h"

#include <tbb/global_control.h>

#include <algorithm>
#include <memory>

#include "stitch/compose/light_balance.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/cameras.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

namespace {

// One moment as stills.
struct Tried {
    int64_t frame = 0;
    std::vector<std::optional<io::SolvedPlate>> of_clip;
    std::vector<std::optional<Plate>> plate;
    std::vector<std::string> notes, warnings;
    double rms_px = 0;
    size_t placed = 0;
};

Tried solveMoment(const Take& take, int64_t frame, const SolveSettings& settings,
                  const Progress& progress) {
    const Moment moment = take.at(frame);
    Tried first;
    first.frame = frame;
    first.of_clip.resize(take.clips.size());
    first.plate.resize(take.clips.size());
    PlateSet set;
    set.plates = moment.plates;
    SolveSettings solve = settings;
    if (solve.north) {
        const auto at = std::find(moment.clip.begin(), moment.clip.end(), *solve.north);
        solve.north.reset();
        if (at != moment.clip.end()) solve.north = int(at - moment.clip.begin());
    }
    PlateStore store(set.plates);
    Solve solved = solvePlates(set, store, solve, progress);
    const auto light = balanceLight(set.plates, store, solved.plates);
    for (size_t i = 0; i < moment.plates.size(); ++i) {
        const auto clip = size_t(moment.clip[i]);
        first.of_clip[clip] = solved.plates[i];
        first.plate[clip] = moment.plates[i];
        first.placed += solved.plates[i].placed && solved.plates[i].placed_by != "pose";
    }
    first.notes = solved.notes;
    first.notes.insert(first.notes.end(), light.notes.begin(), light.notes.end());
    first.warnings = solved.warnings;
    first.warnings.insert(first.warnings.end(), light.warnings.begin(), light.warnings.end());
    first.rms_px = solved.rms_px;
    return first;
}

// The first moment at which all cameras tie, else the one at which most do: a camera may be black
// for a while, or a tram stand before it.
Tried bestMoment(const Take& take, const std::vector<int64_t>& moments,
                 const SolveSettings& settings, const Progress& progress) {
    std::vector<int64_t> order{moments[moments.size() / 2], moments.front(), moments.back()};
    for (const int64_t frame : moments)
        if (std::find(order.begin(), order.end(), frame) == order.end()) order.push_back(frame);
    constexpr size_t kMostTries = 5;
    if (order.size() > kMostTries) order.resize(kMostTries);
    std::optional<Tried> best;
    for (const int64_t frame : order) {
        Tried tried = solveMoment(take, frame, settings, progress);
        if (!best || tried.placed > best->placed) best = std::move(tried);
        if (best->placed == take.clips.size()) break;
    }
    return std::move(*best);
}

LensFound lensFound(const Plate& plate, const io::SolvedPlate& solved) {
    LensFound found;
    found.lens = solved.lens;
    found.distortion = !plate.distortion_known;
    found.shading = !plate.shading_known;
    // A focal length that a track tells is kept: one moment of cameras that stand apart would bend
    // it to take up parallax.
    if (lensIsKnown(plate))
        found.lens.focal_mm = plate.lens.focal_mm;
    else if (plate.lens.focal_mm > 0)
        found.focal_scale = solved.lens.focal_mm / plate.lens.focal_mm;
    return found;
}

// Trackers tell where cameras stood in their own world; the solve has turned it (level, north).
void turnPupils(const std::vector<Matrix3d>& solvedFromTracked, std::vector<MountCamera>& cameras) {
    if (solvedFromTracked.empty()) return;
    const Matrix3d turn = robustMean(solvedFromTracked);
    for (auto& camera : cameras)
        if (camera.pupil_m) camera.pupil_m = turn * *camera.pupil_m;
}

std::vector<MountCamera> startingMount(const Take& take, const Tried& first) {
    std::vector<MountCamera> cameras(take.clips.size());
    std::vector<Matrix3d> solvedFromTracked;
    for (size_t c = 0; c < cameras.size(); ++c) {
        const auto& solved = first.of_clip[c];
        auto& camera = cameras[c];
        if (!solved) {
            camera.why_not = "it has no frame at the moment that was solved";
            continue;
        }
        camera.placed = solved->placed;
        camera.why_not = solved->why_not;
        camera.sensor = solved->sensor;
        camera.lens = lensFound(*first.plate[c], *solved);
        camera.standing = {{take.first, calib::worldFromCamera(solved->pose)}};
        camera.pupil_m = first.plate[c]->pupil_m;
        if (camera.placed && camera.pupil_m && first.plate[c]->tracked_pose)
            solvedFromTracked.emplace_back(
                camera.standing.front().mountFromCamera *
                calib::worldFromCamera(*first.plate[c]->tracked_pose).transpose());
    }
    turnPupils(solvedFromTracked, cameras);
    return cameras;
}

// Places are told against each other: the panorama's centre is their mean. Without all of them
// there is no telling. True when all are known to see from one place.
bool centrePupils(std::vector<MountCamera>& cameras) {
    Vector3d mean = Vector3d::Zero();
    int known = 0, placed = 0;
    for (const auto& camera : cameras) {
        if (!camera.placed) continue;
        ++placed;
        if (!camera.pupil_m) continue;
        mean += *camera.pupil_m;
        ++known;
    }
    if (known > 0) mean /= known;
    // Nearer together than this they stand in one place, and a person measured them twice.
    constexpr double kOnePlace_m = 0.005;
    double farthest_m = 0;
    for (const auto& camera : cameras)
        if (camera.placed && camera.pupil_m)
            farthest_m = std::max(farthest_m, (*camera.pupil_m - mean).norm());
    const bool one_place = known > 0 && known == placed && farthest_m < kOnePlace_m;
    if (farthest_m < kOnePlace_m) known = 0;
    for (auto& camera : cameras) {
        if (known < placed || known == 0)
            camera.pupil_m.reset();
        else if (camera.pupil_m)
            *camera.pupil_m -= mean;
    }
    return one_place;
}

}  // namespace

bool FirstMoment::pupilsApart() const {
    return std::any_of(cameras.begin(), cameras.end(), [](const auto& camera) {
        return camera.pupil_m && camera.pupil_m->norm() > 1e-3;
    });
}

std::vector<int64_t> spreadMoments(const Take& take, int count) {
    const int64_t frames = take.frames();
    const int64_t wanted = std::clamp<int64_t>(count, 1, frames);
    std::vector<int64_t> moments;
    for (int64_t i = 0; i < wanted; ++i)
        moments.push_back(take.first +
                          (wanted == 1 ? frames / 2 : i * (frames - 1) / (wanted - 1)));
    return moments;
}

FirstMoment solveFirstMoment(const Take& take, const std::vector<int64_t>& moments,
                             const SolveSettings& settings, const Progress& progress,
                             std::vector<StageTime>* times) {
    std::unique_ptr<tbb::global_control> limit;
    if (settings.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(settings.threads));
    StageClock clock(progress);
    clock.begin("first moment");
    const Tried best = bestMoment(take, moments, settings, progress);
    FirstMoment first;
    first.frame = best.frame;
    first.cameras = startingMount(take, best);
    first.one_place = centrePupils(first.cameras);
    first.rms_px = best.rms_px;
    first.notes = best.notes;
    first.warnings = best.warnings;
    clock.end();
    if (times) times->insert(times->end(), clock.times().begin(), clock.times().end());
    return first;
}

}  // namespace plateloom::stitch
