#include "world/hero_shot.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstdio>
#include <fstream>

#include "io/input_error.h"
#include "world/performance.h"
#include "world/recording.h"
#include "world/timecode_label.h"
#include "world/truth.h"

namespace plateloom::world {

namespace {

// 0 to 1 with no speed at either end.
double ease(double share) {
    const double s = std::clamp(share, 0.0, 1.0);
    return s * s * (3 - 2 * s);
}

calib::PanTiltRoll poseAt(const HeroSettings& s, double share) {
    const auto between = [&](double from, double to) { return from + (to - from) * ease(share); };
    return {between(s.from.pan_deg, s.to.pan_deg), between(s.from.tilt_deg, s.to.tilt_deg),
            between(s.from.roll_deg, s.to.roll_deg)};
}

double focusAt_m(const HeroSettings& s, double share) {
    const double from = 1 / s.focus_from_m, to = 1 / s.focus_to_m;
    return 1 / (from + (to - from) * ease((share - 0.15) / 0.85));
}

// An hour of timecode later than the plates.
int64_t heroStart(const Rate& rate) {
    return int64_t(74530.0 * rate.num / rate.denom);
}

PlannedPlate planSample(const HeroSettings& s, int frame, int sub_frame, int samples_per_frame) {
    const double share =
        s.frames > 1 ? (frame + double(sub_frame) / samples_per_frame) / (s.frames - 1) : 0;
    PlannedPlate plate;
    plate.pose = poseAt(s, share);
    plate.lens = inventedLens(s.look, s.direction, s.focal_mm, focusAt_m(s, share), s.t_stop);
    plate.frame = heroStart(s.rate) + frame;
    plate.sub_frame = sub_frame;
    plate.seed = s.seed * 1000u + 500u + uint32_t(frame);
    char name[32];
    std::snprintf(name, sizeof name, "hero.%04d.exr", s.first_frame + frame);
    plate.file = name;
    return plate;
}

Shoot withoutPlates(const HeroSettings& s) {
    Shoot shoot;
    shoot.settings.scene = s.scene;
    shoot.settings.seed = s.seed;
    shoot.settings.width_px = s.width_px;
    shoot.settings.height_px = s.height_px;
    shoot.settings.sensor_width_mm = s.sensor_width_mm;
    shoot.settings.focal_mm = s.focal_mm;
    shoot.settings.look = s.look;
    shoot.settings.direction = s.direction;
    shoot.settings.noise = s.noise;
    shoot.settings.blur_px = s.blur_px;
    shoot.settings.samples = s.samples;
    shoot.settings.rate = s.rate;
    shoot.sensor = {s.sensor_width_mm, s.sensor_width_mm * s.height_px / s.width_px, s.width_px,
                    s.height_px};
    return shoot;
}

Shoot turned(Shoot shoot, const calib::Matrix3d& trackFromSquare) {
    for (PlannedPlate& plate : shoot.plates)
        plate.pose = calib::panTiltRoll(trackFromSquare * calib::worldFromCamera(plate.pose));
    return shoot;
}

std::string labelText(int64_t frame, const Rate& rate) {
    const Label label = labelOf(frame, rate);
    char text[48];
    std::snprintf(text, sizeof text, "%02d:%02d:%02d%c%02d", label.hours, label.minutes,
                  label.seconds, rate.drop_frame ? ';' : ':', label.frames);
    return text;
}

}  // namespace

Shoot planHeroShot(const HeroSettings& settings) {
    return planHeroSamples(settings, 1);
}

Shoot planHeroSamples(const HeroSettings& settings, int samples_per_frame) {
    assert(settings.frames >= 1 && samples_per_frame >= 1);
    Shoot shoot = withoutPlates(settings);
    for (int frame = 0; frame < settings.frames; ++frame) {
        const int count = frame + 1 < settings.frames ? samples_per_frame : 1;
        for (int sub = 0; sub < count; ++sub)
            shoot.plates.push_back(planSample(settings, frame, sub, samples_per_frame));
    }
    return shoot;
}

void writeHeroCsv(const std::filesystem::path& path, const Shoot& hero, int first_frame) {
    std::ofstream out(path);
    out.precision(17);
    out << "frame,timecode,fps,pan_deg,tilt_deg,roll_deg,focal_mm,focus_m,t_stop,sensor_width_mm,"
           "model,k1,k2,k3,k4,k5,k6,p1,p2,distortion_x_mm,distortion_y_mm,projection_x_mm,"
           "projection_y_mm,a1,a2,a3\n";
    const Rate& rate = hero.settings.rate;
    for (size_t i = 0; i < hero.plates.size(); ++i) {
        const PlannedPlate& plate = hero.plates[i];
        const calib::Lens& lens = plate.lens;
        const bool to_flat =
            lens.distortion.direction == calib::DistortionDirection::recorded_to_flat;
        out << first_frame + int(i) << ',' << labelText(plate.frame, rate) << ','
            << double(rate.num) / rate.denom << ',' << plate.pose.pan_deg << ','
            << plate.pose.tilt_deg << ',' << plate.pose.roll_deg << ',' << lens.focal_mm << ','
            << *lens.focus_m << ',' << *lens.t_stop << ',' << hero.sensor.width_mm << ','
            << (to_flat ? "D-U" : "U-D");
        for (const double k : lens.distortion.radial) out << ',' << k;
        for (const double p : lens.distortion.tangential) out << ',' << p;
        out << ',' << lens.distortion_offset_mm.x() << ',' << lens.distortion_offset_mm.y() << ','
            << lens.projection_offset_mm.x() << ',' << lens.projection_offset_mm.y() << ','
            << lens.shading.a1 << ',' << lens.shading.a2 << ',' << lens.shading.a3 << '\n';
    }
    if (!out) throw io::RoomError(path.string(), "can't be written");
}

void writeHeroShot(const std::filesystem::path& folder, const HeroSettings& settings,
                   int samples_per_frame, const calib::Matrix3d& trackFromSquare,
                   const std::optional<std::filesystem::path>& performance) {
    const Shoot hero = planHeroShot(settings);
    const Scene scene(settings.scene);
    std::filesystem::create_directories(folder / "truth");
    for (size_t i = 0; i < hero.plates.size(); ++i) {
        const PlannedPlate& plate = hero.plates[i];
        io::Picture light = recordLight(hero, scene, i);
        if (performance) {
            const Performer performer(performerAt(settings, int(i)));
            writePerformance(*performance, recordPerformance(hero, scene, i, performer, light),
                             plate, settings, settings.first_frame + int(i));
        }
        exposeLight(light, calib::LensMap(plate.lens, hero.sensor), renderSettings(hero, plate));
        writePlateExr(folder / plate.file, light, plate, settings.rate);
    }
    TrackFormat format;
    format.poses = true;
    format.pose_noise_deg = 0;
    format.frames_around = 0;
    format.samples_per_frame = samples_per_frame;
    writeLensTrack(folder / "hero.jsonl",
                   turned(planHeroSamples(settings, samples_per_frame), trackFromSquare), format);
    writeHeroCsv(folder / "hero.csv", turned(hero, trackFromSquare), settings.first_frame);
    writeTruePoses(folder / "truth" / "hero.csv", hero);
    writeScene(folder / "truth" / "scene.json", settings.scene);
}

}  // namespace plateloom::world
