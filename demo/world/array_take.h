// A take of the invented square by several cameras on one mount, rolling together: where each one
// looked and through what lens in every frame, and what a person at the mount would have measured.
// Or the same directions filmed in turn, by one camera, a take each.
//
//     const ArrayTake take = planArray({.frames = 24});
//     io::Picture first = recordPlate(take.clips[0].shoot, Scene(take.scene), 0);
//
// The mount turns about its origin, which is the world's; entrance pupils stand on an arc round it.
// At rest its axes are the world's. Exposures are so short that nothing smears.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "world/mount_shake.h"
#include "world/shoot.h"

namespace plateloom::world {

/// From this frame on a camera looks elsewhere: someone ran into it.
struct Knock {
    int camera = 1, frame = 1001;  ///< cameras from 1; the number in its file names
    double turn_deg = 0.3;
};

/// Frames first to last of one camera, by the numbers in its file names.
struct FrameRange {
    int camera = 1, first = 1001, last = 1001;
};

struct ArraySettings {
    SceneSettings scene;  ///< who runs and which lamp flickers is found by planArray
    uint32_t seed = 1;
    int cameras = 5, frames = 48, first_frame = 1001;
    int width_px = 2048, height_px = 1152;
    double sensor_width_mm = 36, focal_mm = 28;
    LensLook look = LensLook::barrel;
    calib::DistortionDirection direction = calib::DistortionDirection::recorded_to_flat;
    double step_deg = 46;  ///< from camera to camera: 28 mm then overlap by some 28 %
    double tilt_deg = 6;
    double pan_tilt_jitter_deg = 1.0, roll_jitter_deg = 0.6;
    double pupil_radius_m = 0.15;  ///< 0: all cameras see from one place
    MountShake shake;              ///< its seed follows from `seed`
    double own_shake_deg = 0;      ///< reach of what each camera does on its mount by itself
    double pan_deg_per_s = 0;      ///< the mount goes round besides, as one that travels does
    double exposure_jitter_stops = 0.06;
    /// The iris of one camera closes from `t_stop` to `t_stop_to`, around the take's middle; that
    /// is in its lens track, and its plates darken. Camera 0: none.
    int iris_camera = 2, iris_frames = 12;
    double t_stop = 2.8, t_stop_to = 4.0;
    double noise = 0.004, blur_px = 0.55;
    int samples = 2;     ///< see RenderSettings
    bool exact = false;  ///< each frame from the scene itself, not through still_light.h: slow
    Rate rate{24, 1};
    bool moves = true;      ///< false: nothing moves and all lamps burn steadily
    int ragged_frames = 0;  ///< clips begin and end up to so many frames apart
    bool in_turn = false;   ///< one camera, a take for each direction, minutes apart
    double measured_deg = 0.1, measured_m = 0.001;  ///< to which poses are measured; 0: exactly
    std::vector<Knock> knocks;
    std::vector<FrameRange> black, missing;
};

struct ClipFrame {
    int number = 0;               ///< in the file's name
    calib::PanTiltRoll mount;     ///< worldFromMount
    calib::PanTiltRoll own;       ///< and, in its axes, the camera's own turn on it
    calib::PanTiltRoll on_mount;  ///< mountFromCamera, knocks included
    bool black = false, missing = false;
};

struct Clip {
    std::string name;             ///< "cam1": cam1.1001.exr and on, cam1.jsonl
    std::string camera, serial;   ///< as its lens track says
    calib::PanTiltRoll on_mount;  ///< true, before any knock
    Vector3d pupil_m{0, 0, 0};    ///< entrance pupil, in the mount's axes
    /// As a person measured it: rotation, and the place of the sensor.
    calib::PanTiltRoll measured;
    Vector3d measured_sensor_m{0, 0, 0};
    Shoot shoot;  ///< a plate a frame: true poses in the world, true lenses, timecodes
    std::vector<ClipFrame> frames;
};

struct ArrayTake {
    ArraySettings settings;
    SceneSettings scene;  ///< with runner and flicker
    std::vector<Clip> clips;
};

/// Throws io::InputError for a camera or frame that the take does not have.
[[nodiscard]] ArrayTake planArray(const ArraySettings& settings);

}  // namespace plateloom::world
