// A shoot of the invented square: which plates, where each one looked, through what lens, at what
// exposure and timecode. Everything follows from a `ShootSettings`; nothing is random but its seed.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"
#include "world/render.h"

namespace plateloom::world {

/// A row of plates at one tilt; the operator turns to the right, so pan falls from plate to plate.
struct Row {
    double tilt_deg = 0;
    int pans = 8;
    double first_pan_deg = 180, step_deg = 45;
};

/// "three-rows" (24 plates and a sky plate), "two-rows", "ring8", "arc8" (eight over most of the
/// turn), "wide3" (three plates side by side). Throws io::InputError for a name that it does not
/// know.
[[nodiscard]] std::vector<Row> rowsOfGrid(const std::string& name);

enum class LensLook { barrel, pincushion, mustache };
/// By its name; throws io::InputError for one that it does not know.
[[nodiscard]] LensLook lensLookOf(const std::string& name);

/// The invented lens at a focus distance and T-stop: it breathes (focal length and
/// distortion follow focus) and shades (by the iris).
/// Both directions of the model bend alike, not equally: each has a polynomial of its own.
[[nodiscard]] calib::Lens inventedLens(LensLook look, calib::DistortionDirection direction,
                                       double nominal_mm, double focus_m, double t_stop);

struct Rate {
    int num = 24000, denom = 1001;
    bool drop_frame = false;  ///< for 30000/1001
};

struct ShootSettings {
    SceneSettings scene;
    uint32_t seed = 1;
    std::vector<Row> rows;
    bool sky_plate = true;
    int width_px = 2048, height_px = 1152;
    double sensor_width_mm = 36.0;
    double focal_mm = 28.0;
    LensLook look = LensLook::barrel;
    calib::DistortionDirection direction = calib::DistortionDirection::recorded_to_flat;
    double pan_tilt_jitter_deg = 1.5, roll_jitter_deg = 0.6;
    double exposure_jitter_stops = 0.07;
    bool focus_moves = true, iris_moves = true, zoom_moves = false;
    bool photographs = false;  ///< hand-held stills: exposure and balance wander, files are JPEG
    double exposure = 1;       ///< of all plates
    double hand_sway_m = 0;    ///< how far the camera wanders from shot to shot, one way
    double parallax_m = 0;     ///< radius at which the entrance pupil turns round the head's axis
    double noise = 0.004;
    double blur_px = 0.55;
    int samples = 2;  ///< of light a pixel in each direction, see RenderSettings
    Rate rate;
    bool timecodes = true;  ///< in plates and lens track; without, the order ties them
    /// Each plate's header says focus, T-stop, nominal focal length, the sensor's size, ISO and
    /// shutter.
    bool lens_in_header = false;
};

struct PlannedPlate {
    std::string file;
    calib::PanTiltRoll pose;
    calib::Vector3d origin_m = calib::Vector3d::Zero();
    calib::Lens lens;
    double exposure = 1, iso = 800;
    Rgb balance{1, 1, 1};
    std::optional<double> time_s;  ///< nullopt: nothing that moves is there
    int64_t frame = 0;             ///< counted from 00:00:00:00
    int sub_frame = 0;             ///< of a lens sample between frames
    uint32_t seed = 0;
    double soft_px = 0;               ///< more blur than the lens has: out of focus
    std::optional<calib::Lens> said;  ///< what track and report say where it isn't `lens`
    bool sample_lost = false;         ///< the track has no sample of this plate

    [[nodiscard]] const calib::Lens& saidLens() const { return said ? *said : lens; }
};

struct Shoot {
    ShootSettings settings;
    calib::Sensor sensor;
    std::vector<PlannedPlate> plates;
};

/// Hand-held photographs of the square with a small camera, 24 mm on 23.6 mm (36 mm equivalent):
/// two to five degrees of sway, a few centimetres of parallax, clipped at white.
[[nodiscard]] ShootSettings photographSettings(const SceneSettings& scene, uint32_t seed);

[[nodiscard]] Shoot planShoot(const ShootSettings& settings);

/// How one plate of it is rendered.
[[nodiscard]] RenderSettings renderSettings(const Shoot& shoot, const PlannedPlate& plate);
/// The light that falls through the lens of one plate of it (see renderLight).
[[nodiscard]] io::Picture recordLight(const Shoot& shoot, const Scene& scene, size_t plate);
/// Records one plate of it.
[[nodiscard]] io::Picture recordPlate(const Shoot& shoot, const Scene& scene, size_t plate);

}  // namespace plateloom::world
