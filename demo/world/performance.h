// The performance: the hero shot once more, with someone in it. On the stage the hero camera
// records the performer in front of a green screen; on location the same camera would have recorded
// them in the square. The second is the truth for frames composited from the first and a panorama.
//
// All three pictures of a frame come from the same samples of light, so they differ in what stands
// behind the performer and in nothing else.
#pragma once

#include <filesystem>

#include "world/hero_shot.h"
#include "world/performer.h"

namespace plateloom::world {

struct PerformanceFrame {
    io::Picture stage;     ///< RGB, before the green screen
    io::Picture keyed;     ///< RGBA, associated: what a perfect key leaves of `stage`
    io::Picture location;  ///< RGB, in the square
};

/// Where the performer stands and moves at a frame (0 is the first) of a hero shot.
[[nodiscard]] PerformerPlace performerAt(const HeroSettings& settings, int frame);

/// `square` is the frame's light without a performer, as `renderLight` gives it.
[[nodiscard]] PerformanceFrame recordPerformance(const Shoot& hero, const Scene& scene,
                                                 size_t frame, const Performer& performer,
                                                 const io::Picture& square);

/// Writes stage/stage.####.exr, keyed/keyed.####.exr and location/location.####.exr.
void writePerformance(const std::filesystem::path& folder, const PerformanceFrame& frame,
                      const PlannedPlate& planned, const HeroSettings& settings, int number);

}  // namespace plateloom::world
