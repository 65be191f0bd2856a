#include "world/array_take.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/angle.h"
#include "io/input_error.h"
#include "world/noise.h"
#include "world/timecode_label.h"

namespace plateloom::world {

namespace {

double rounded(double value, double step) {
    // By the whole number of steps a unit, so that 45.3 is written as 45.3.
    return step > 0 ? std::round(value / step) / std::round(1 / step) : value;
}

Vector3d turned(const calib::PanTiltRoll& pose, const Vector3d& ray) {
    return calib::worldFromCamera(pose) * ray;
}

// The frame count of the first label of a new minute of an evening, at any rate.
int64_t newMinute(const Rate& rate) {
    int64_t frame = int64_t(70930.0 * rate.num / rate.denom);
    const int minute = labelOf(frame, rate).minutes;
    while (labelOf(frame, rate).minutes == minute) ++frame;
    return frame;
}

// How many frames before and after the common ones a clip runs.
struct Margins {
    int before = 0, after = 0;
};
Margins marginsOf(const ArraySettings& s, int camera) {
    if (s.ragged_frames <= 0) return {};
    // The first clip begins latest and the second ends earliest: the common range is that of none.
    Dice dice(s.seed * 47u + uint32_t(camera) * 3u + 1u);
    const int before = 1 + dice.below(s.ragged_frames), after = 1 + dice.below(s.ragged_frames);
    return {camera == 0 ? 0 : before, camera == 1 ? 0 : after};
}

double tStopAt(const ArraySettings& s, int camera, int instant) {
    if (camera + 1 != s.iris_camera) return s.t_stop;
    const double begin = 0.5 * (s.frames - s.iris_frames);
    const double share = std::clamp((instant - begin) / std::max(1, s.iris_frames), 0.0, 1.0);
    const double eased = share * share * (3 - 2 * share);
    return s.t_stop * std::pow(s.t_stop_to / s.t_stop, eased);
}

// One lens of a set: like its sisters, not equal to them.
struct LensCopy {
    double focal = 1, bending = 1, focus_m = 6;
};

calib::Lens lensAt(const ArraySettings& s, const LensCopy& copy, double t_stop) {
    calib::Lens lens =
        inventedLens(s.look, s.direction, s.focal_mm * copy.focal, copy.focus_m, t_stop);
    lens.distortion.radial[0] *= copy.bending;
    return lens;
}

Shoot withoutPlates(const ArraySettings& s, int camera) {
    Shoot shoot;
    ShootSettings& to = shoot.settings;
    to.scene = s.scene;
    to.seed = s.in_turn ? s.seed : s.seed + 100u * uint32_t(camera + 1);
    to.width_px = s.width_px;
    to.height_px = s.height_px;
    to.sensor_width_mm = s.sensor_width_mm;
    to.focal_mm = s.focal_mm;
    to.look = s.look;
    to.direction = s.direction;
    to.noise = s.noise;
    to.blur_px = s.blur_px;
    to.samples = s.samples;
    to.rate = s.rate;
    shoot.sensor = {s.sensor_width_mm, s.sensor_width_mm * s.height_px / s.width_px, s.width_px,
                    s.height_px};
    return shoot;
}

void placeCamera(const ArraySettings& s, int camera, Dice& dice, Clip& clip) {
    const auto around = [&](double reach) {
        return double(dice.between(float(-reach), float(reach)));
    };
    const double pan_deg = (0.5 * (s.cameras - 1) - camera) * s.step_deg;
    clip.on_mount = {pan_deg + around(s.pan_tilt_jitter_deg),
                     s.tilt_deg + around(s.pan_tilt_jitter_deg), around(s.roll_jitter_deg)};
    clip.pupil_m = turned({clip.on_mount.pan_deg, 0, 0}, {0, s.pupil_radius_m, 0});
    clip.measured = {rounded(clip.on_mount.pan_deg, s.measured_deg),
                     rounded(clip.on_mount.tilt_deg, s.measured_deg),
                     rounded(clip.on_mount.roll_deg, s.measured_deg)};
}

// OpenTrackIO places the sensor, and the entrance pupil lies ahead of it on the axis.
void measureSensor(const ArraySettings& s, const calib::Lens& lens, Clip& clip) {
    const Vector3d sensor =
        clip.pupil_m - turned(clip.measured, {0, *lens.entrance_pupil_offset_m, 0});
    for (int i = 0; i < 3; ++i) clip.measured_sensor_m[i] = rounded(sensor[i], s.measured_m);
}

bool within(const std::vector<FrameRange>& ranges, int camera, int number) {
    return std::any_of(ranges.begin(), ranges.end(), [&](const FrameRange& range) {
        return range.camera == camera + 1 && number >= range.first && number <= range.last;
    });
}

calib::PanTiltRoll afterKnocks(const ArraySettings& s, int camera, int number,
                               const calib::PanTiltRoll& on_mount) {
    calib::Matrix3d mountFromCamera = calib::worldFromCamera(on_mount);
    for (const Knock& knock : s.knocks)
        if (knock.camera == camera + 1 && number >= knock.frame)
            mountFromCamera *=
                calib::worldFromCamera({0.8 * knock.turn_deg, -0.6 * knock.turn_deg, 0});
    return calib::panTiltRoll(mountFromCamera);
}

// When a clip rolls: frames since 00:00:00:00 and since the scene's time began, at instant 0.
struct Rolling {
    int64_t timecode_frame = 0, scene_frame = 0;
};

void planFrame(const ArraySettings& s, int camera, const LensCopy& copy, int instant, int number,
               const Rolling& rolling, Clip& clip) {
    const double time_s = double(instant + rolling.scene_frame) * s.rate.denom / s.rate.num;
    ClipFrame frame;
    frame.number = number;
    frame.mount = mountAt(s.shake, time_s);
    frame.mount.pan_deg += s.pan_deg_per_s * instant * s.rate.denom / s.rate.num;
    frame.own = mountAt({s.own_shake_deg, s.shake.seed + 11u * uint32_t(camera + 1)}, time_s);
    frame.on_mount = afterKnocks(s, camera, number, clip.on_mount);
    frame.black = within(s.black, camera, number);
    frame.missing = within(s.missing, camera, number);

    PlannedPlate plate;
    const calib::Matrix3d worldFromMount = calib::worldFromCamera(frame.mount);
    plate.pose = calib::panTiltRoll(worldFromMount * calib::worldFromCamera(frame.own) *
                                    calib::worldFromCamera(frame.on_mount));
    plate.origin_m = worldFromMount * clip.pupil_m;
    const double t_stop = tStopAt(s, camera, instant);
    plate.lens = lensAt(s, copy, t_stop);
    const double own_stops =
        s.exposure_jitter_stops * (2.0 * unit(hash(s.seed, uint32_t(camera), 404u)) - 1.0);
    plate.exposure = std::pow(s.t_stop / t_stop, 2) * std::exp2(s.in_turn ? 0.0 : own_stops);
    if (s.moves) plate.time_s = time_s;
    plate.frame = rolling.timecode_frame + instant;
    plate.seed = hash(uint32_t(camera), uint32_t(number), s.seed + 9u);
    char name[32];
    std::snprintf(name, sizeof name, "%s.%04d.exr", clip.name.c_str(), number);
    plate.file = name;
    clip.shoot.plates.push_back(plate);
    clip.frames.push_back(frame);
}

Clip planClip(const ArraySettings& s, int camera, int64_t first_timecode_frame) {
    Clip clip;
    clip.name = "cam" + std::to_string(camera + 1);
    clip.camera = s.in_turn ? "A" : std::string(1, char('A' + camera));
    clip.serial = std::to_string(s.in_turn ? 101 : 101 + camera);
    clip.shoot = withoutPlates(s, camera);
    Dice dice(s.seed * 613u + uint32_t(camera) * 29u + 3u);
    placeCamera(s, camera, dice, clip);
    Dice lens_dice(s.seed * 19u + (s.in_turn ? 0u : uint32_t(camera) + 1u));
    const LensCopy copy{lens_dice.between(0.997f, 1.003f), lens_dice.between(0.98f, 1.02f),
                        lens_dice.between(5.0f, 8.0f)};
    measureSensor(s, lensAt(s, copy, s.t_stop), clip);

    const Margins margins = marginsOf(s, camera);
    // In turn: about a minute and a half to the next take.
    const int64_t turn = s.in_turn ? int64_t(88.7 * camera * s.rate.num / s.rate.denom) : 0;
    int number = s.first_frame;
    for (int instant = -margins.before; instant < s.frames + margins.after; ++instant)
        planFrame(s, camera, copy, instant, number++, {first_timecode_frame + turn, turn}, clip);
    return clip;
}

// How far to the side of its own axis a camera sees, anywhere in its frame, in pan.
double halfWidth_deg(const Clip& clip) {
    const calib::LensMap lens(clip.shoot.plates[0].lens, clip.shoot.sensor);
    double widest = 0;
    for (const double x : {0.0, double(clip.shoot.sensor.width_px)})
        for (const double share : {0.5, 0.75, 1.0})
            if (const auto ray = lens.rayFromRecorded({x, share * clip.shoot.sensor.height_px})) {
                const Vector3d there = turned({0, clip.on_mount.tilt_deg, 0}, *ray);
                widest = std::max(widest, std::abs(std::atan2(there.x(), there.y())));
            }
    return widest * calib::kDegPerRad;
}

// Across the whole of the middle camera's frame from left to right within the take, so through both
// of its overlaps, and no faster than a person runs where the take is long enough for that.
Runner runnerThrough(const ArraySettings& s, const Clip& middle) {
    constexpr double kRun_mps = 4.8, kNearest_m = 2.5, kFurthest_m = 6.0;
    constexpr double kOwnWidth_deg = 4.0;
    const double take_s = double(s.frames) * s.rate.denom / s.rate.num;
    const double aside = std::tan((halfWidth_deg(middle) + kOwnWidth_deg) * calib::kRadPerDeg);
    const double away_m = std::clamp(kRun_mps * take_s / (2 * aside), kNearest_m, kFurthest_m);
    const auto inPlan = [&](double x, double y) -> Vector2d {
        return turned({middle.on_mount.pan_deg, 0, 0}, {x, y, 0}).head<2>();
    };
    return {inPlan(-aside * away_m, away_m), inPlan(2 * aside * away_m / take_s, 0)};
}

// The street lamp nearest to where the middle camera looks.
Flicker flickerBefore(const SquarePlan& plan, const Clip& middle) {
    const Vector2d ahead = turned({middle.on_mount.pan_deg, 0, 0}, {0, 1, 0}).head<2>();
    Flicker flicker;
    double best = -2;
    for (size_t i = 0; i < plan.lamps.size(); ++i) {
        const double along = plan.lamps[i].centre.head<2>().normalized().dot(ahead);
        if (plan.lamps[i].radius_m < 0.05 || along <= best) continue;
        best = along;
        flicker.lamp = int(i);
    }
    return flicker;
}

void requireFrames(const ArrayTake& take, const std::string& option, int camera, int frame) {
    if (camera < 1 || camera > int(take.clips.size()))
        throw io::InputError(option, "names camera " + std::to_string(camera) + "; there are " +
                                         std::to_string(take.clips.size()));
    const auto& frames = take.clips[size_t(camera - 1)].frames;
    if (frame < frames.front().number || frame > frames.back().number)
        throw io::InputError(option, "names frame " + std::to_string(frame) +
                                         "; that clip has frames " +
                                         std::to_string(frames.front().number) + " to " +
                                         std::to_string(frames.back().number));
}

}  // namespace

ArrayTake planArray(const ArraySettings& settings) {
    ArraySettings s = settings;
    if (s.cameras < 1 || s.cameras > 26 || s.frames < 1)
        throw io::InputError("the array", "needs 1 to 26 cameras and at least one frame");
    s.shake.seed = s.seed * 7u + 2u;
    ArrayTake take{s, s.scene, {}};
    // A new minute begins within the take.
    const int64_t first_frame = newMinute(s.rate) - s.frames / 2;
    for (int camera = 0; camera < s.cameras; ++camera)
        take.clips.push_back(planClip(s, camera, first_frame));
    for (const Knock& knock : s.knocks) requireFrames(take, "--knock", knock.camera, knock.frame);
    for (const FrameRange& range : s.black) {
        requireFrames(take, "--black", range.camera, range.first);
        requireFrames(take, "--black", range.camera, range.last);
    }
    for (const FrameRange& range : s.missing) {
        requireFrames(take, "--missing", range.camera, range.first);
        requireFrames(take, "--missing", range.camera, range.last);
    }
    if (!s.moves) return take;
    const Clip& middle = take.clips[take.clips.size() / 2];
    take.scene.runner = runnerThrough(s, middle);
    take.scene.flicker = flickerBefore(planSquare(s.scene.seed, s.scene.texture), middle);
    for (Clip& clip : take.clips) clip.shoot.settings.scene = take.scene;
    return take;
}

}  // namespace plateloom::world
