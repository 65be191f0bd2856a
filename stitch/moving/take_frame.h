// One frame of a take, ready to be looked at: its plates placed as the mount holds them, each
// through the lens of its own frame, and their pixels.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "stitch/mount/mount.h"
#include "stitch/moving/take_light.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

/// Frames of a clip that show nothing, both ends included.
struct BlackRun {
    int clip = 0;
    int64_t first = 0, last = 0;
};

/// What of the shake is taken out, in the mount's axes: worldFromCamera = turn x mountFromCamera.
struct TakenOut {
    std::vector<Matrix3d> shared;            ///< of all cameras, one a frame; empty: none
    std::vector<std::vector<Matrix3d>> own;  ///< of each clip by itself beyond it; likewise

    [[nodiscard]] bool empty() const { return shared.empty() && own.empty(); }
    /// `frame` counts from the take's first.
    [[nodiscard]] Matrix3d sharedAt(size_t frame) const {
        return shared.empty() ? Matrix3d::Identity() : shared[frame];
    }
    [[nodiscard]] Matrix3d at(size_t clip, size_t frame) const {
        if (clip >= own.size() || own[clip].empty()) return sharedAt(frame);
        return sharedAt(frame) * own[clip][frame];
    }
};

/// All that a solve of a take says, and all that a frame is made from besides its pixels.
struct SolvedTake {
    Mount mount;
    std::vector<CameraLight> light;  ///< one a clip
    std::vector<BlackRun> black;
    TakenOut taken_out;
    std::shared_ptr<const ComposeDistance> distance;  ///< null: infinity
};

struct TakeFrame {
    int64_t frame = 0;
    std::vector<int> clip;            ///< one a placed camera: its clip
    std::vector<PlacedPlate> plates;  ///< one a placed camera, in the clips' order; `plate` is its
                                      ///< index here
    std::vector<std::optional<double>> stops;  ///< known exposure
    std::vector<char> absent;          ///< no file or black: its pixels are all without cover
    std::vector<io::PlateFile> files;  ///< of those that are there; else without a path
    std::shared_ptr<PlateStore> store;
};

/// Reads headers; pixels when they are first asked for. A camera that is placed always has a plate,
/// so that labels hold for every frame. Throws io::InputError as Take::at does.
[[nodiscard]] TakeFrame takeFrame(const Take& take, const SolvedTake& solved, int64_t frame);

/// The cameras as they stand at the take's first frame through the lenses that the solve found:
/// what the panorama's size follows from, whichever frames are made.
[[nodiscard]] std::vector<PlacedPlate> standingPlates(const SolvedTake& solved);

}  // namespace plateloom::stitch
