// What an array leaves on disk: cam1.1001.exr ..., a lens track a camera (cam1.jsonl, a sample a
// frame, its pose as measured on the mount), and truth/mount.json and truth/scene.json.
#pragma once

#include <filesystem>
#include <functional>

#include "world/array_take.h"

namespace plateloom::world {

/// One frame as it was recorded; black frames are black.
[[nodiscard]] io::Picture recordFrame(const Clip& clip, const Scene& scene, size_t frame);

/// A sample a frame, all with the pose that was measured on the mount: shake and knocks are not in
/// it. Missing frames have their samples: the lens was recorded, the picture was lost.
void writeClipTrack(const std::filesystem::path& path, const Clip& clip);

/// truth/mount.json: for each clip its rotation on the mount, where its pupil is and its focal
/// length in pixels; for each frame its number, timecode, the mount's rotation, the clip's on it
/// (knocks included), exposure and T-stop. Every digit.
void writeMountTruth(const std::filesystem::path& path, const ArrayTake& take);

/// Renders and writes it all: through still_light.h where that saves work and the settings allow
/// it; while camera and scene stand still, light is rendered once. `tell` is
/// called after each frame, from any thread, with how many are done and how many there are.
void writeTake(const std::filesystem::path& folder, const ArrayTake& take,
               const std::function<void(int done, int all)>& tell = {});

}  // namespace plateloom::world
