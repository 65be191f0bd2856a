// `view` over the frames of a shot: which camera, which name, one after the other.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/output_guard.h"
#include "io/plate_file.h"
#include "io/shot_camera.h"
#include "stitch/job/chunk.h"
#include "stitch/job/progress.h"
#include "stitch/view/view.h"

namespace plateloom::stitch {

struct FrameSize {
    int width = 0, height = 0;
};

struct ViewRequest {
    std::filesystem::path panorama;  ///< one file, or pano.####.exr
    int64_t slip = 0;                ///< of a moving panorama, see moving_panorama.h
    PanoramaClaim claim;
    std::string colour_space;  ///< of the panorama, when its file does not say it

    /// The shot's camera: a track, or the one pose of a still.
    std::optional<std::filesystem::path> track;
    calib::PanTiltRoll still;
    /// What the track does not say of the lens; of a still, its lens.
    std::optional<std::filesystem::path> lens_table;
    std::vector<std::string> shot;  ///< recorded frames to match: their timecode, number and size
    std::optional<io::FrameRange> frames;
    std::optional<int64_t> first_frame;
    std::optional<double> focal_mm, sensor_width_mm;  ///< where the track does not say them
    std::optional<FrameSize> size;

    Look look = Look::lens;
    std::optional<double> overscan;  ///< of a flat look: a factor; nothing: what its lens needs
    std::filesystem::path output;    ///< with # for the frame number, or one file for one frame
    /// Folder for UV and shading maps: the views' (view_maps.h) and their lenses' (lens_maps.h).
    std::optional<std::filesystem::path> uv_maps;
    std::optional<std::filesystem::path> sheet;
    bool resume = false;
    std::optional<Chunk> chunk;  ///< of the shot's frames; the first writes the lenses' maps
    bool half = true;
    size_t cache_bytes = size_t(512) << 20;
    int threads = 0;
    io::OutputGuard outputs;
};

struct ViewResult {
    struct Frame {
        int64_t number = 0;
        std::filesystem::path path;
        double covered = 0;      ///< share of its pixels
        bool was_there = false;  ///< kept, by --resume
    };
    std::vector<Frame> frames;
    std::vector<io::MissingFrame> missing;  ///< by the track, or by the panorama
    PixelBounds bounds;                     ///< of the last frame
    FrameSize size;
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
};

/// Throws io::OutputRefused, io::InputError, io::RoomError; before anything is written for whatever
/// is wrong with the request, the panorama's header, the track or the folder.
[[nodiscard]] ViewResult viewJob(const ViewRequest& request, const Progress& progress);

}  // namespace plateloom::stitch
