// What was taken out of a moving panorama to steady it, as an OpenTrackIO track: a sample a frame,
// the rotation of the mount against where it was made to stand. Put before a shot camera's own
// rotation it is put back. What a clip did by itself is a source of its own, a sample a frame
// likewise: its rotation in the same axes comes after the mount's and before the camera's.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "calib/pose.h"
#include "io/new_file.h"
#include "io/timecode.h"

namespace plateloom::io {

struct ShakeSample {
    int64_t frame = 0;  ///< of the take
    std::optional<Timecode> timecode;
    calib::PanTiltRoll turn;  ///< worldFromMount
    std::string clip;         ///< file of the clip that did so by itself; "": all of the mount
};

/// In time; of one frame in any order.
void writeShakeTrack(const std::filesystem::path& path, const std::vector<ShakeSample>& samples,
                     const std::optional<FrameRate>& rate);
/// The same, under its hidden name until it is committed. `set`: what the solve's files that were
/// written together bear (SolvedClip); "" for none.
[[nodiscard]] std::unique_ptr<NewFile> writeShakeBeside(const std::filesystem::path& path,
                                                        const std::vector<ShakeSample>& samples,
                                                        const std::optional<FrameRate>& rate,
                                                        const std::string& set);
/// Throws InputError naming line and field; each source's frames have to rise. `set` may be null.
[[nodiscard]] std::vector<ShakeSample> readShakeTrack(const std::filesystem::path& path,
                                                      std::string* set = nullptr);

}  // namespace plateloom::io
