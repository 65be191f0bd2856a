// The hero shot: what the film's own camera recorded in front of the invented square. A pan and
// tilt with a focus pull through another lens, from the place where the plates were shot; the
// recorded frames are the truth for views out of the panorama. The square is empty: nothing in it
// moves, and the shutter is so short that nothing smears.
//
//     const Shoot hero = planHeroShot({.frames = 24});
//     io::Picture first = recordPlate(hero, scene, 0);
#pragma once

#include <filesystem>

#include "world/shoot.h"

namespace plateloom::world {

struct HeroSettings {
    SceneSettings scene;
    uint32_t seed = 1;
    int frames = 24, first_frame = 1001;
    int width_px = 1024, height_px = 576;
    double sensor_width_mm = 36.0, focal_mm = 40.0;
    LensLook look = LensLook::mustache;
    calib::DistortionDirection direction = calib::DistortionDirection::recorded_to_flat;
    /// Where the camera looks and focuses at the first and the last frame. It starts and stops
    /// softly; the focus goes evenly in dioptres, a little later than the move.
    calib::PanTiltRoll from{-60, 1, -0.8}, to{-104, 8, 0.6};
    double focus_from_m = 9.0, focus_to_m = 1.8;
    double t_stop = 2.8;
    double noise = 0, blur_px = 0.55;
    int samples = 2;  ///< see RenderSettings; 4 where hundredths of a pixel are to be told apart
    Rate rate;
};

/// A plate a frame, hero.####.exr, with consecutive timecodes.
[[nodiscard]] Shoot planHeroShot(const HeroSettings& settings);

/// The same move at `samples_per_frame` lens samples a frame, the first of them at the frame's own
/// time; the last frame has only that one.
[[nodiscard]] Shoot planHeroSamples(const HeroSettings& settings, int samples_per_frame);

/// A lens track as CSV, every field of it: frame, timecode, pose, lens.
void writeHeroCsv(const std::filesystem::path& path, const Shoot& hero, int first_frame);

/// Renders and writes hero.####.exr, hero.jsonl (poses and lens), hero.csv, and truth/hero.csv (the
/// true poses in the square's own world). `trackFromSquare` turns the poses of both tracks, as a
/// match-mover lines a shot up with the world of a solve.
/// With a folder for it, the performance as well: see performance.h.
void writeHeroShot(const std::filesystem::path& folder, const HeroSettings& settings,
                   int samples_per_frame, const calib::Matrix3d& trackFromSquare,
                   const std::optional<std::filesystem::path>& performance = std::nullopt);

}  // namespace plateloom::world
