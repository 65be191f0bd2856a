#include "io/shot_camera.h"

#include <algorithm>

#include "io/input_error.h"

namespace plateloom::io {

ShotCamera shotCamera(const LensTrack& track, std::optional<FrameRange> wanted,
                      std::optional<int64_t> first_frame) {
    ShotCamera camera;
    int64_t next = first_frame.value_or(1001);
    for (const auto& sample : track.samples) {
        if (!sample.pose) continue;
        ShotFrame frame;
        frame.number = sample.frame.value_or(next++);
        frame.timecode = sample.timecode;
        frame.rate = sample.frame_rate;
        frame.sample = sample;
        frame.where = whereIs(track, sample);
        if (wanted && (frame.number < wanted->first || frame.number > wanted->last)) continue;
        camera.frames.push_back(frame);
    }
    if (camera.frames.empty()) throw InputError(track.path.string(), "no sample has a pose");
    return camera;
}

ShotCamera shotCamera(const LensTrack& track, const std::vector<PlateFile>& shot) {
    (void)shot;
    return shotCamera(track, std::nullopt, std::nullopt);
}

}  // namespace plateloom::io
