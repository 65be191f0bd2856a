#include "stitch/mount/mount_solve.h"

#include <tbb/global_control.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "calib/angle.h"
#include "stitch/job/stage_clock.h"
#include "stitch/mount/mount_bundle.h"
#include "stitch/mount/overlap_distance.h"
#include "stitch/plates/cameras.h"
#include "stitch/plates/light_store.h"
#include "stitch/solve/tie_rounds.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kLightBound_bytes = size_t(192) << 20;
// Cameras that stand apart see each other's things shifted by parallax; this much is searched.
constexpr double kParallaxSearch_px = 12;

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
    [[nodiscard]] std::vector<Standing> standing(size_t clip) const {
        std::vector<Standing> out;
        for (const auto& [from, body] : of_clip[clip])
            out.push_back({from, *bodies[size_t(body)].mountFromCamera});
        return out;
    }
};

// Where each stands in the mean of each of its parts, by how it stood at the first moment.
Bodies bodiesOf(const Take& take, const FirstMoment& first, const std::vector<OwnTurn>& own) {
    Bodies out;
    out.of_clip.resize(first.cameras.size());
    for (size_t c = 0; c < first.cameras.size(); ++c) {
        const auto& camera = first.cameras[c];
        MountBody body;
        body.pupil_m = camera.pupil_m;
        const Matrix3d startFromThen =
            own[c].partAt(first.frame).startFromMean * own[c].at(first.frame, take.first);
        for (const auto& part : own[c].parts) {
            if (camera.placed)
                body.mountFromCamera = camera.standing.front().mountFromCamera *
                                       startFromThen.transpose() * part.startFromMean;
            out.of_clip[c].emplace_back(part.from_frame, int(out.bodies.size()));
            out.bodies.push_back(body);
            out.clip_of.push_back(int(c));
        }
    }
    return out;
}

// Ties of one moment, from the pixels, as the cameras would have seen them from where they stand in
// the mean.
std::vector<MountTie> tiesAt(const Moment& moment, const Mount& mount, const Bodies& bodies,
                             const std::vector<Matrix3d>& meanFromCamera, double search_px,
                             StageClock& clock) {
    Cameras cameras;
    std::vector<Matrix3d> turn;
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
        turn.push_back(meanFromCamera[clip]);
        set.plates.push_back(plate);
        cameras.worldFromCamera.emplace_back(*bodies.bodies[size_t(body.back())].mountFromCamera *
                                             turn.back());
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
        ties.push_back({{body[size_t(tie.a)], turn[size_t(tie.a)] * *ray_a, lens_a.focal_px()},
                        {body[size_t(tie.b)], turn[size_t(tie.b)] * *ray_b, lens_b.focal_px()},
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

Mount solveMount(const Take& take, const FirstMoment& first, const MountSettings& settings,
                 const Progress& progress, std::vector<StageTime>* times) {
    std::unique_ptr<tbb::global_control> limit;
    if (settings.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(settings.threads));
    StageClock clock(progress);
    Mount mount;
    mount.moments = settings.moments;
    mount.notes = first.notes;
    mount.warnings = first.warnings;
    mount.cameras = first.cameras;

    const Bodies bodies = bodiesOf(take, first, settings.own);
    for (size_t c = 0; c < mount.cameras.size(); ++c)
        if (mount.cameras[c].placed) mount.cameras[c].standing = bodies.standing(c);
    const double search_px =
        first.pupilsApart() ? kParallaxSearch_px : std::clamp(3 * first.rms_px, 2.0, 12.0);
    std::vector<MountTie> ties;
    clock.begin("ties over the take");
    for (size_t m = 0; m < mount.moments.size(); ++m) {
        clock.tell(double(m) / double(mount.moments.size()));
        std::vector<Matrix3d> meanFromCamera;
        for (const auto& own : settings.own)
            meanFromCamera.push_back(own.at(mount.moments[m], take.first));
        const auto more =
            tiesAt(take.at(mount.moments[m]), mount, bodies, meanFromCamera, search_px, clock);
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
