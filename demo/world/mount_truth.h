// How near a solve of a mount and the shake found in it come to the truth of a rendered take.
//
// A solve is free to choose its mount's axes, and a shake track its world's: each is brought onto
// the truth by one rotation for the whole take.
//     true worldFromMount(t) trueMountFromSolved = trueFromSolvedWorld solved worldFromMount(t)
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "io/shake_track.h"
#include "io/solve_file.h"
#include "world/shoot.h"

namespace plateloom::world {

struct TrueFrame {
    int number = 0;
    int64_t timecode_frame = 0;  ///< since 00:00:00:00
    calib::PanTiltRoll mount, on_mount;
    double exposure = 1, t_stop = 0;
    std::optional<double> time_s;
    calib::PanTiltRoll own;  ///< the camera's own turn on the mount, in the mount's axes
};

struct TrueClip {
    std::string name, file;
    double focal_px = 0;
    std::vector<TrueFrame> frames;
    /// mountFromCamera of each part of the take between knocks; the first is the whole take's when
    /// nobody ran into the camera.
    std::vector<calib::PanTiltRoll> parts;
};

struct TrueTake {
    Rate rate;
    std::vector<TrueClip> clips;
    bool in_turn = false;  ///< shot by one camera, each clip's mount shaking by itself

    /// The mount's rotation by timecode frame.
    [[nodiscard]] std::map<int64_t, calib::PanTiltRoll> mountByTimecode() const;
    /// The scene's time by timecode frame; empty where nothing moves.
    [[nodiscard]] std::map<int64_t, double> timeByTimecode() const;
};

/// As `writeMountTruth` leaves it. Throws io::InputError.
[[nodiscard]] TrueTake readTrueTake(const std::filesystem::path& path);

struct MountError {
    std::string clip;
    int part = 0;  ///< 1 for what a clip was after its first knock
    double px = 0;
};
struct MountErrors {
    std::vector<std::string> missing;  ///< clips without a solved line
    std::vector<MountError> each;
    double rms_px = 0, largest_px = 0;
    calib::Matrix3d trueMountFromSolved = calib::Matrix3d::Identity();
};
/// Lines and clips are paired by `file` (cam1.####.exr). Where the solve says how a camera stood
/// after it was knocked, that is held against how it truly stood then. Of takes shot in turn a clip
/// truly stood in the mean of where it looked in the solve's frames (of each of its parts); of an
/// array whose cameras also turn by themselves, in the mean of that.
[[nodiscard]] MountErrors compareMount(const std::vector<io::SolvedPlate>& solve,
                                       const TrueTake& truth);

struct ShakeErrors {
    int frames = 0;       ///< of the track, with a frame of the take at their time
    int not_in_take = 0;  ///< samples without one
    double rms_px = 0, largest_px = 0;
    double true_rms_px = 0;  ///< how much the mount truly shook, about its mean
    calib::Matrix3d trueFromSolvedWorld = calib::Matrix3d::Identity();
};
/// Samples of the mount and frames go together by timecode.
[[nodiscard]] ShakeErrors compareShake(const std::vector<io::ShakeSample>& track,
                                       const TrueTake& truth,
                                       const calib::Matrix3d& trueMountFromSolved);

/// Of one clip: where its frames are put, by what was taken out, against where they truly looked,
/// its mean error over the take left out (that is the mount's, see MountErrors).
struct SteadyError {
    std::string clip;
    int frames = 0;
    double rms_px = 0, largest_px = 0;
    double true_rms_px = 0;  ///< how much it truly turned, mount and all, about its mean
};
/// What a track does not have was left in, and is then in `rms_px`. One a solved clip.
[[nodiscard]] std::vector<SteadyError> compareSteadied(const std::vector<io::ShakeSample>& track,
                                                       const std::vector<io::SolvedPlate>& solve,
                                                       const TrueTake& truth);

}  // namespace plateloom::world
