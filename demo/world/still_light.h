// The light that a camera gathers from everything that stands still, rendered once from a wider
// frame, so that the frames of a shaking mount are looked up in it rather than rendered again; what
// moves is rendered into each.
//
//     const StillLight still(scene, lens, worldFromCamera_at_rest, pupil_at_rest_m, 24, settings);
//     io::Picture light = still.light(worldFromCamera, pupil_m, time_s);   // as renderLight gives
//
// Kept at two samples a pixel and already spread by lens and pixel, so it holds next to nothing
// near its own sampling limit (0.3 % at a blur of 0.55 px) and a cubic finds what lies between:
// places are right to a thousandth of a pixel, fine detail to a percent of its contrast. A pupil
// that moves by a millimetre shifts near things against far ones: each pixel's distance is kept.
#pragma once

#include <optional>
#include <vector>

#include "world/ray_lattice.h"
#include "world/render.h"

namespace plateloom::world {

class StillLight {
public:
    /// `margin_px`: how far beyond the frame at rest other frames look, in its pixels.
    StillLight(const Scene& scene, const calib::LensMap& lens,
               const calib::Matrix3d& worldFromCamera, const calib::Vector3d& origin_m,
               int margin_px, const RenderSettings& settings);

    /// The same camera turned and moved a little. Beyond the margin it is dark.
    [[nodiscard]] io::Picture light(const calib::Matrix3d& worldFromCamera,
                                    const calib::Vector3d& origin_m,
                                    std::optional<double> time_s) const;

private:
    struct Kept {
        float steady[3], flickering[3];  ///< the latter of the flickering lamp at full light
    };
    [[nodiscard]] io::Picture standing(const calib::Matrix3d& worldFromCamera,
                                       const calib::Vector3d& origin_m, float flicker_level) const;
    void addMovers(const calib::Matrix3d& worldFromCamera, const calib::Vector3d& origin_m,
                   double time_s, io::Picture& light) const;

    const Scene* scene_;
    calib::LensMap lens_, fine_lens_;  ///< the frame's, and that of what is kept
    calib::Matrix3d worldFromCamera_;
    calib::Vector3d origin_m_;
    RenderSettings settings_;
    int width_, height_;  ///< of what is kept
    std::vector<Kept> kept_;
    std::vector<float> per_metre_;  ///< 1 / distance, at each second of what is kept
};

}  // namespace plateloom::world
