// The points of a calibration board in a picture: a checkerboard, a board of squares and coded
// markers (ChArUco), or a grid of dots. Found at a size where a board is quickly found, then placed
// in the picture's own pixels.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "stitch/calibrate/chart_measurement.h"
#include "stitch/calibrate/chart_picture.h"

namespace plateloom::stitch {

/// What the person said of the board.
struct BoardWish {
    std::optional<BoardKind> kind;  ///< not said: whatever is found
    /// A checkerboard's inner corners, a marker board's squares, a dot grid's dots.
    int columns = 0, rows = 0;
    double pitch_mm = 25;                     ///< side of a square, or from dot to dot
    std::optional<double> marker_mm, dot_mm;  ///< not said: measured against the pitch
    std::string dictionary;  ///< "4x4", "5x5", "6x6", "7x7", "original"; "": whichever fits
};

struct FoundBoard {
    BoardKind kind = BoardKind::checker;
    int columns = 0, rows = 0;  ///< points
    int turns = 1;              ///< see calib::ChartBoard
    double dot_mm = 0;
    std::string dictionary;
    std::vector<int> point;
    std::vector<calib::Vector2d> px;
    double edge_px = 0;  ///< 0: not measured
};

/// Nullopt: there is none. `wish.kind` must be said.
[[nodiscard]] std::optional<FoundBoard> findBoard(const ChartLight& picture, const BoardWish& wish);

/// The three kinds; findBoard calls them.
[[nodiscard]] std::optional<FoundBoard> findChecker(const ChartLight& picture,
                                                    const BoardWish& wish);
[[nodiscard]] std::optional<FoundBoard> findCharuco(const ChartLight& picture,
                                                    const BoardWish& wish);
[[nodiscard]] std::optional<FoundBoard> findDots(const ChartLight& picture, const BoardWish& wish);

/// The board that the found points lie on.
[[nodiscard]] calib::ChartBoard boardOf(const FoundBoard& found, const BoardWish& wish);

/// A copy for the detectors, 8 bits, no longer than `longest_px`, and what its positions have to be
/// multiplied by.
struct SmallTones {
    cv::Mat tone;
    double scale = 1;
    /// A position found in the copy (middle of the first pixel at 0), in the picture's pixels.
    [[nodiscard]] calib::Vector2d inPicture(const cv::Point2f& p) const {
        return {(double(p.x) + 0.5) * scale, (double(p.y) + 0.5) * scale};
    }
};
[[nodiscard]] SmallTones smallTones(const cv::Mat& tone, int longest_px);

}  // namespace plateloom::stitch
