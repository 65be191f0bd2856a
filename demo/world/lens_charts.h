// Flat charts in front of a lens: checkerboard, ChArUco board, dot grid, with exact truth.
//
// The board's own coordinates are metres from its middle, x right and y down as one reads it. A
// chart is sampled on a grid finer than the pixels, each cell taking the exact share of black and
// white under it, and the grid is weighed with the lens's point spread as a plate is.
#pragma once

#include <optional>
#include <vector>

#include "calib/lens.h"
#include "io/picture.h"

namespace plateloom::world {

enum class BoardKind { checkerboard, charuco, dots };

struct Board {
    BoardKind kind = BoardKind::checkerboard;
    int columns = 12, rows = 8;  ///< squares; of a dot grid, dots
    double pitch_m = 0.05;       ///< a square's side, or from dot to dot
    /// ChArUco: markers of OpenCV's DICT_4X4_250, three quarters of a square wide.
    static constexpr double kMarkerShare = 0.75;
    static constexpr double kDotDiameter = 0.5;  ///< of the pitch
};

/// What a detector looks for: inner corners of squares, or dots' centres. Row by row, metres.
[[nodiscard]] std::vector<calib::Vector2d> boardPoints(const Board& board);

/// camera = cameraFromBoard (x, y, 0) + centre_m; the camera's X is right, Y forward, Z up.
struct BoardPose {
    calib::Matrix3d cameraFromBoard = calib::Matrix3d::Identity();
    calib::Vector3d centre_m = calib::Vector3d::Zero();
};

/// Face to face with the camera, then turned about its own upright (yaw), level (pitch) and facing
/// axis (roll); its middle seen at a flat position of the frame (-1 to 1 from edge to edge).
[[nodiscard]] BoardPose boardPose(const calib::LensMap& lens, double across, double down,
                                  double distance_m, double yaw_deg, double pitch_deg,
                                  double roll_deg);

/// `count` poses that carry the board over the whole frame, turned by up to 35 degrees.
[[nodiscard]] std::vector<BoardPose> spreadPoses(const Board& board, const calib::LensMap& lens,
                                                 int count, uint32_t seed);

/// Where each of boardPoints is recorded, pixels; nullopt where the lens does not reach.
[[nodiscard]] std::vector<std::optional<calib::Vector2d>> recordedPoints(
    const Board& board, const BoardPose& pose, const calib::LensMap& lens);

struct ChartRender {
    double blur_px = 0.6;
    double noise = 0.004;  ///< as RenderSettings
    double exposure = 0.8;
    double lamp_tilt = 0.15;  ///< how much brighter the light is at the board's right edge, a share
    int samples = 3;
    uint32_t seed = 1;
};

/// RGB, linear, with the lens's shading.
[[nodiscard]] io::Picture renderChart(const Board& board, const BoardPose& pose,
                                      const calib::LensMap& lens, const ChartRender& settings);

}  // namespace plateloom::world
