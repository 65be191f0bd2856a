#include "stitch/take/mount_solve.h"

#include <tbb/global_control.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <memory>

#include "calib/angle.h"
#include "calib/median.h"
#include "io/input_error.h"
#include "stitch/compose/light_balance.h"
#include "stitch/plates/light_store.h"
#include "stitch/solve/cameras.h"
#include "stitch/solve/stage_clock.h"
#include "stitch/solve/tie_rounds.h"
#include "stitch/take/mount_bundle.h"
#include "stitch/take/overlap_distance.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kLightBound_bytes = size_t(192) << 20;
// Cameras that stand apart see each other's things shifted by parallax; this much is searched.
constexpr double kParallaxSearch_px = 12;

std::vector<int64_t> spreadMoments(const Take& take, int count) {
    const int64_t frames = take.frames();
    const int64_t wanted = std::clamp<int64_t>(count, 1, frames);
    std::vector<int64_t> moments;
    for (int64_t i = 0; i < wanted; ++i)
        moments.push_back(take.first +
                          (wanted == 1 ? frames / 2 : i * (frames - 1) / (wanted - 1)));
    return moments;
}

// One moment as stills.
struct FirstSolve {
    int64_t frame = 0;
    std::vector<std::optional<io::SolvedPlate>> of_clip;
    std::vector<std::optional<Plate>> plate;
    std::vector<std::string> notes, warnings;
    double rms_px = 0;
    size_t placed = 0;
};

FirstSolve solveMoment(const Take& take, int64_t frame, const MountSettings& settings,
                       const Progress& progress) {
    const Moment moment = take.at(frame);
    FirstSolve first;
    first.frame = frame;
    first.of_clip.resize(take.clips.size());
    first.plate.resize(take.clips.size());
    PlateSet set;
    set.plates = moment.plates;
    SolveSettings solve = settings.solve;
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
FirstSolve bestMoment(const Take& take, const std::vector<int64_t>& moments,
                      const MountSettings& settings, const Progress& progress) {
    std::vector<int64_t> order{moments[moments.size() / 2], moments.front(), moments.back()};
    for (const int64_t frame : moments)
        if (std::find(order.begin(), order.end(), frame) == order.end()) order.push_back(frame);
    constexpr size_t kMostTries = 5;
    if (order.size() > kMostTries) order.resize(kMostTries);
    std::optional<FirstSolve> best;
    for (const int64_t frame : order) {
        FirstSolve tried = solveMoment(take, frame, settings, progress);
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

std::vector<MountCamera> startingMount(const Take& take, const FirstSolve& first) {
    std::vector<MountCamera> cameras(take.clips.size());
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
    }
    return cameras;
}

// Places are told against each other: the panorama's centre is their mean. Without all of them
// there is no telling.
void centrePupils(std::vector<MountCamera>& cameras) {
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
    if (farthest_m < kOnePlace_m) known = 0;
    for (auto& camera : cameras) {
        if (known < placed || known == 0)
            camera.pupil_m.reset();
        else if (camera.pupil_m)
            *camera.pupil_m -= mean;
    }
}

// Bodies of the bundle: each camera, and each camera once more after it was knocked.
struct Bodies {
    std::vector<MountBody> bodies;
    std::vector<int> clip_of;                                   // one a body
    std::vector<std::vector<std::pair<int64_t, int>>> of_clip;  // from which frame on, which body

    [[nodiscard]] int at(size_t clip, int64_t frame) const {
        int body = of_clip[clip].front().second;
        for (const auto& [from, index] : of_clip[clip])
            if (from <= frame) body = index;
        return body;
    }
};

Bodies bodiesOf(const Take& take, const std::vector<MountCamera>& cameras,
                const std::vector<Knock>& knocked) {
    Bodies out;
    out.of_clip.resize(cameras.size());
    for (size_t c = 0; c < cameras.size(); ++c) {
        const auto& camera = cameras[c];
        MountBody body;
        if (camera.placed) body.mountFromCamera = camera.standing.front().mountFromCamera;
        body.pupil_m = camera.pupil_m;
        out.of_clip[c] = {{take.first, int(out.bodies.size())}};
        out.bodies.push_back(body);
        out.clip_of.push_back(int(c));
        for (const auto& knock : knocked) {
            if (size_t(knock.clip) != c) continue;
            if (body.mountFromCamera) *body.mountFromCamera *= knock.beforeFromAfter;
            out.of_clip[c].emplace_back(knock.frame, int(out.bodies.size()));
            out.bodies.push_back(body);
            out.clip_of.push_back(int(c));
        }
    }
    return out;
}

// Ties of one moment, from the pixels.
std::vector<MountTie> tiesAt(const Moment& moment, const Mount& mount, const Bodies& bodies,
                             double search_px, StageClock& clock) {
    Cameras cameras;
    std::vector<int> body;
    PlateSet set;
    for (size_t i = 0; i < moment.plates.size(); ++i) {
        const auto clip = size_t(moment.clip[i]);
        if (!mount.cameras[clip].placed) continue;
        Plate plate = moment.plates[i];
        plate.lens = lensOf(plate, mount.cameras[clip].lens);
        plate.sensor = mount.cameras[clip].sensor;
        plate.distortion_known = plate.shading_known = true;
        plate.refocused.reset();
        plate.lens_group = 0;
        body.push_back(bodies.at(clip, moment.frame));
        set.plates.push_back(plate);
        cameras.worldFromCamera.push_back(bodies.bodies[size_t(body.back())].mountFromCamera);
    }
    cameras.plates = set.plates;
    cameras.correction.resize(1);
    cameras.breathing.assign(set.plates.size(), 1);
    cameras.part.assign(set.plates.size(), 0);
    PlateStore store(set.plates);
    LightStore lights(cameras.plates, store, kLightBound_bytes);
    const auto found = registeredTies(cameras, lights, search_px, clock);
    const auto lenses = lensMaps(cameras);
    std::vector<MountTie> ties;
    for (const auto& tie : found) {
        const auto &lens_a = lenses[size_t(tie.a)], &lens_b = lenses[size_t(tie.b)];
        const auto ray_a = lens_a.rayFromRecorded(tie.px_a),
                   ray_b = lens_b.rayFromRecorded(tie.px_b);
        if (!ray_a || !ray_b) continue;
        ties.push_back({{body[size_t(tie.a)], *ray_a, lens_a.focal_px()},
                        {body[size_t(tie.b)], *ray_b, lens_b.focal_px()},
                        tie.sigma_px,
                        int(moment.frame)});
    }
    return ties;
}

// The bundle holds one camera while the others move: the whole is turned back so that it lies as
// level as the first solve put it.
void turnBack(const std::vector<MountBody>& bodies, MountBundle& bundle) {
    std::vector<Matrix3d> from, to;
    for (size_t i = 0; i < bodies.size(); ++i) {
        if (!bodies[i].mountFromCamera || !bundle.mountFromCamera[i]) continue;
        from.push_back(*bundle.mountFromCamera[i]);
        to.push_back(*bodies[i].mountFromCamera);
    }
    if (from.empty()) return;
    const Matrix3d turn = calib::alignOrientations(from, to);
    for (auto& rotation : bundle.mountFromCamera)
        if (rotation) *rotation = calib::nearestRotation(turn * *rotation);
}

void takeOver(const MountBundle& bundle, const Bodies& bodies, const std::vector<MountTie>& ties,
              Mount& mount) {
    std::vector<double> sum(bodies.bodies.size(), 0);
    std::vector<int> count(bodies.bodies.size(), 0);
    for (size_t t = 0; t < ties.size(); ++t) {
        if (!bundle.inlier[t]) continue;
        ++mount.ties;
        for (const int body : {ties[t].a.body, ties[t].b.body}) {
            sum[size_t(body)] += bundle.residual_px[t] * bundle.residual_px[t];
            ++count[size_t(body)];
        }
    }
    for (size_t c = 0; c < mount.cameras.size(); ++c) {
        auto& camera = mount.cameras[c];
        if (!camera.placed) continue;
        camera.standing.clear();
        double squares = 0;
        for (const auto& [from, body] : bodies.of_clip[c]) {
            camera.standing.push_back({from, *bundle.mountFromCamera[size_t(body)]});
            camera.ties += count[size_t(body)];
            squares += sum[size_t(body)];
            camera.sigma_deg = std::max(camera.sigma_deg, bundle.sigma_deg[size_t(body)]);
        }
        camera.rms_px = camera.ties > 0 ? std::sqrt(squares / camera.ties) : 0;
    }
    mount.rms_px = bundle.rms_px;
}

}  // namespace

calib::Lens lensOf(const Plate& plate, const LensFound& found) {
    calib::Lens lens = plate.lens;
    if (lens.focal_mm > 0)
        lens.focal_mm *= found.focal_scale;
    else
        lens.focal_mm = found.lens.focal_mm;
    if (found.distortion) {
        lens.distortion = found.lens.distortion;
        lens.distortion_offset_mm = found.lens.distortion_offset_mm;
        lens.projection_offset_mm = found.lens.projection_offset_mm;
    }
    if (found.shading) lens.shading = found.lens.shading;
    return lens;
}

Mount solveMount(const Take& take, const MountSettings& settings, const Progress& progress,
                 std::vector<StageTime>* times) {
    std::unique_ptr<tbb::global_control> limit;
    if (settings.solve.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(settings.solve.threads));
    StageClock clock(progress);
    Mount mount;
    mount.moments = spreadMoments(take, settings.moments);
    clock.begin("first moment");
    const FirstSolve first = bestMoment(take, mount.moments, settings, progress);
    mount.notes = first.notes;
    mount.warnings = first.warnings;
    mount.cameras = startingMount(take, first);
    centrePupils(mount.cameras);

    const Bodies bodies = bodiesOf(take, mount.cameras, settings.knocked);
    const bool apart = std::any_of(
        mount.cameras.begin(), mount.cameras.end(),
        [](const auto& camera) { return camera.pupil_m && camera.pupil_m->norm() > 1e-3; });
    const double search_px = apart ? kParallaxSearch_px : std::clamp(3 * first.rms_px, 2.0, 12.0);
    std::vector<MountTie> ties;
    clock.begin("ties over the take");
    for (size_t m = 0; m < mount.moments.size(); ++m) {
        clock.tell(double(m) / double(mount.moments.size()));
        const auto more = tiesAt(take.at(mount.moments[m]), mount, bodies, search_px, clock);
        ties.insert(ties.end(), more.begin(), more.end());
    }
    clock.begin("mount");
    MountBundle bundle = adjustMount(bodies.bodies, ties);
    if (bundle.usable) {
        turnBack(bodies.bodies, bundle);
        takeOver(bundle, bodies, ties, mount);
        mount.overlaps = overlapDistances(mount, bodies.clip_of, ties, bundle);
    }
    clock.end();
    if (times) times->insert(times->end(), clock.times().begin(), clock.times().end());
    return mount;
}

}  // namespace plateloom::stitch
