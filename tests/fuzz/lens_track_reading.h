// Reads a lens track and what is made of it: the track in time, the camera of a shot.
#pragma once

#include <cmath>

#include "io/lens_track.h"
#include "io/shot_camera.h"
#include "io/track_timeline.h"
#include "tests/fuzz/fuzz_target.h"

namespace plateloom::fuzz {

inline void readTrack(std::string_view bytes, const char* name) {
    allowRefusal([&] {
        const auto track = io::readLensTrack(fileOf(bytes, name));
        holds(!track.samples.empty(), "a track has samples");
        for (const auto& sample : track.samples) {
            holds(!sample.has_focal || sample.lens.focal_mm > 0, "focal lengths are above 0");
            holds(std::isfinite(sample.lens.focal_mm), "focal lengths are finite");
        }
        for (const auto& camera : io::TrackTimeline::eachCamera(track)) {
            (void)camera.gaps();
            for (const auto& moment : camera.frames())
                allowRefusal([&] { (void)camera.at(moment); });
        }
        (void)io::shotCamera(track, io::FrameRange{1001, 1002}, std::nullopt);
    });
}

}  // namespace plateloom::fuzz
