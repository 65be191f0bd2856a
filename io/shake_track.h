// What was taken out of a moving panorama to steady it, as an OpenTrackIO track: a sample a frame,
// the rotation of the mount against where it was made to stand. Put before a shot camera's own
// rotation it is put back.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <vector>

#include "calib/pose.h"
#include "io/timecode.h"

namespace plateloom::io {

struct ShakeSample {
    int64_t frame = 0;
    std::optional<Timecode> timecode;
    calib::PanTiltRoll turn;  ///< worldFromMount
};

void writeShakeTrack(const std::filesystem::path& path, const std::vector<ShakeSample>& samples,
                     const std::optional<FrameRate>& rate);
/// Throws InputError naming line and field; frames have to rise.
[[nodiscard]] std::vector<ShakeSample> readShakeTrack(const std::filesystem::path& path);

}  // namespace plateloom::io
