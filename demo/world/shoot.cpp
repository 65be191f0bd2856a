#include "world/shoot.h"

#include <cmath>
#include <cstdio>

#include "io/input_error.h"
#include "world/noise.h"

namespace plateloom::world {

std::vector<Row> rowsOfGrid(const std::string& name) {
    if (name == "three-rows") return {{-20, 8, 180, 45}, {8, 8, 157.5, 45}, {34, 8, 180, 45}};
    if (name == "two-rows") return {{-9, 9, 180, 40}, {19, 9, 160, 40}};
    if (name == "ring8") return {{3, 8, 180, 45}};
    if (name == "arc8") return {{4, 8, 112, 32}};
    if (name == "wide3") return {{2, 3, 42, 42}};
    throw io::InputError("--grid " + name,
                         "is not a grid; choose three-rows, two-rows, ring8, arc8 or wide3");
}

LensLook lensLookOf(const std::string& name) {
    if (name == "barrel") return LensLook::barrel;
    if (name == "pincushion") return LensLook::pincushion;
    if (name == "mustache") return LensLook::mustache;
    throw io::InputError("--lens " + name, "is not a lens; choose barrel, pincushion or mustache");
}

namespace {

// k1 .. k6 of a 28 mm lens over a 36 mm wide sensor, focused far away.
std::array<double, 6> bending(LensLook look, calib::DistortionDirection direction) {
    if (direction == calib::DistortionDirection::recorded_to_flat) switch (look) {
            case LensLook::barrel:
                return {1.45e-4, 1.1e-5, 3.2e-8, 0, -2.0e-11, 0};
            case LensLook::pincushion:
                return {-8.8e-5, 0, 1.5e-8, 0, 1.1e-11, 0};
            case LensLook::mustache:
                return {2.1e-4, 0, -3.9e-7, 0, 2.3e-10, 0};
        }
    switch (look) {
        case LensLook::barrel:
            return {-1.25e-4, 0, 2.4e-8, 0, 0, 0};
        case LensLook::pincushion:
            return {8.4e-5, 0, -1.0e-8, 0, 2.0e-11, 0};
        case LensLook::mustache:
            break;
    }
    return {-2.0e-4, 0, 3.6e-7, 0, -1.2e-10, 0};
}

}  // namespace

calib::Lens inventedLens(LensLook look, calib::DistortionDirection direction, double nominal_mm,
                         double focus_m, double t_stop) {
    // The bending goes with the angle of view, so coefficients in mm scale with the focal length.
    const double s = 28.0 / nominal_mm, s2 = s * s;
    const double near = 1.0 / focus_m;  // dioptres: what breathing follows
    calib::Lens lens;
    lens.focal_mm = nominal_mm * (1.004 + 0.021 * near);
    lens.distortion.direction = direction;
    auto& k = lens.distortion.radial;
    k = bending(look, direction);
    k[0] *= 1.0 - 0.16 * near;
    for (size_t i = 0; i < 6; ++i) k[i] *= std::pow(s2, int(i / 2) + 1);
    lens.distortion.tangential = {1.6e-5 * s, -1.1e-5 * s};
    lens.distortion_offset_mm = {0.083, -0.047};
    lens.projection_offset_mm = {-0.061, 0.108};
    // Share of the light that the corner (20.65 mm) loses: natural fall-off and, wide open,
    // vignetting by the barrel.
    const double loss = 0.17 + 0.30 / (1.0 + std::exp(2.2 * (t_stop - 3.2)));
    const double r2 = 20.65 * 20.65;
    lens.shading = {0.62 * loss / r2, 0.45 * loss / (r2 * r2), -0.07 * loss / (r2 * r2 * r2)};
    lens.focus_m = focus_m;
    lens.t_stop = t_stop;
    lens.f_stop = t_stop * 0.95;
    lens.entrance_pupil_offset_m = 0.112;
    return lens;
}

namespace {

int64_t startFrame(const Rate& rate) {
    // An evening's timecode; the plates that follow cross whole minutes.
    return int64_t(70930.0 * rate.num / rate.denom);
}

// How the head is off the entrance pupil: forward of the axis by `parallax_m`.
calib::Vector3d pupilPlace(const calib::PanTiltRoll& pose, double parallax_m) {
    return calib::worldFromCamera(pose) * calib::Vector3d(0, parallax_m, 0);
}

PlannedPlate planPlate(const ShootSettings& s, double pan_deg, double tilt_deg, int number,
                       Dice& dice) {
    static constexpr double kFocus_m[] = {2.2, 3.4, 5.0, 9.0, 18.0};
    static constexpr double kTStop[] = {2.5, 2.8, 2.8, 3.4, 4.0};
    const auto around = [&](double reach) {
        return double(dice.between(float(-reach), float(reach)));
    };
    PlannedPlate plate;
    plate.pose = {pan_deg + around(s.pan_tilt_jitter_deg), tilt_deg + around(s.pan_tilt_jitter_deg),
                  around(s.roll_jitter_deg)};
    if (plate.pose.pan_deg > 180) plate.pose.pan_deg -= 360;
    plate.origin_m = pupilPlace(plate.pose, s.parallax_m) +
                     Vector3d(around(s.hand_sway_m), around(s.hand_sway_m), around(s.hand_sway_m));
    const double focus_m =
        s.focus_moves ? kFocus_m[dice.below(5)] * dice.between(0.96f, 1.04f) : 6.0;
    const double t_stop = s.iris_moves ? kTStop[dice.below(5)] : 2.8;
    const double nominal_mm = s.zoom_moves ? s.focal_mm * dice.between(0.88f, 1.12f) : s.focal_mm;
    plate.lens = inventedLens(s.look, s.direction, nominal_mm, focus_m, t_stop);
    // The operator follows the iris with the sensitivity in whole thirds of a stop, not always.
    plate.iso = s.iris_moves && t_stop > 3 && dice.below(2) == 0 ? 1280 : 800;
    plate.exposure = s.exposure * std::pow(2.8 / t_stop, 2) * plate.iso / 800.0 *
                     std::exp2(around(s.exposure_jitter_stops));
    plate.seed = s.seed * 1000u + uint32_t(number);
    if (s.photographs)
        plate.balance = {1.0f + dice.between(-0.05f, 0.05f), 1, 1.0f + dice.between(-0.06f, 0.06f)};
    char name[32];
    std::snprintf(name, sizeof name, s.photographs ? "photo_%04d.jpg" : "plate.%04d.exr",
                  1001 + number);
    plate.file = name;
    return plate;
}

}  // namespace

ShootSettings photographSettings(const SceneSettings& scene, uint32_t seed) {
    ShootSettings s;
    s.scene = scene;
    s.seed = seed;
    s.rows = rowsOfGrid("arc8");
    s.sky_plate = false;
    s.width_px = 2400;
    s.height_px = 1600;
    s.sensor_width_mm = 23.6;
    s.focal_mm = 24;
    s.photographs = true;
    s.exposure = scene.light == Light::night ? 4.0 : 0.8;
    s.pan_tilt_jitter_deg = 4;
    s.roll_jitter_deg = 3;
    s.hand_sway_m = 0.03;
    s.exposure_jitter_stops = 0.3;
    s.focus_moves = s.iris_moves = false;
    s.noise = 0.008;
    s.blur_px = 0.7;
    return s;
}

Shoot planShoot(const ShootSettings& settings) {
    Shoot shoot;
    shoot.settings = settings;
    shoot.sensor = {settings.sensor_width_mm,
                    settings.sensor_width_mm * settings.height_px / settings.width_px,
                    settings.width_px, settings.height_px};
    Dice dice(settings.seed * 31u + 7u);
    int number = 0;
    for (const Row& row : settings.rows)
        for (int i = 0; i < row.pans; ++i) {
            const double pan = row.first_pan_deg - i * row.step_deg;
            shoot.plates.push_back(planPlate(settings, pan, row.tilt_deg, number++, dice));
        }
    if (settings.sky_plate) shoot.plates.push_back(planPlate(settings, 20, 71, number++, dice));

    const double per_second = double(settings.rate.num) / settings.rate.denom;
    int64_t frame = startFrame(settings.rate);
    const int64_t first = frame;
    for (PlannedPlate& plate : shoot.plates) {
        plate.frame = frame;
        plate.time_s = double(frame - first) / per_second;
        frame += int64_t(per_second * dice.between(9.0f, 21.0f));
    }
    return shoot;
}

RenderSettings renderSettings(const Shoot& shoot, const PlannedPlate& plate) {
    RenderSettings render;
    render.samples = shoot.settings.samples;
    render.blur_px = std::hypot(shoot.settings.blur_px, plate.soft_px);
    render.noise = shoot.settings.noise;
    render.exposure = plate.exposure;
    render.balance = plate.balance;
    render.seed = plate.seed;
    return render;
}

io::Picture recordLight(const Shoot& shoot, const Scene& scene, size_t index) {
    const PlannedPlate& plate = shoot.plates[index];
    return renderLight(scene, calib::LensMap(plate.lens, shoot.sensor),
                       calib::worldFromCamera(plate.pose), plate.origin_m, plate.time_s,
                       renderSettings(shoot, plate));
}

io::Picture recordPlate(const Shoot& shoot, const Scene& scene, size_t index) {
    const PlannedPlate& plate = shoot.plates[index];
    return renderPlate(scene, calib::LensMap(plate.lens, shoot.sensor),
                       calib::worldFromCamera(plate.pose), plate.origin_m, plate.time_s,
                       renderSettings(shoot, plate));
}

}  // namespace plateloom::world
