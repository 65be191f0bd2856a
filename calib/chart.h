// Pictures of a flat board with points on it: what a lens is measured from.
//
// The board's own axes: x along its rows, y down its columns, z away from whoever looks at its
// front, mm, from the middle of its points. A pose brings them into the camera's axes (X right,
// Y along the optical axis, Z up).
#pragma once

#include <array>
#include <string>
#include <vector>

#include "calib/lens.h"

namespace plateloom::calib {

struct ChartBoard {
    int columns = 0, rows = 0;        ///< points along x and y
    std::vector<Vector2d> points_mm;  ///< row by row
    /// Of a board of dots: their diameter. A recorded dot's middle is not where the dot's middle is
    /// recorded, unless it is seen square on; 0 for points without extent.
    double dot_mm = 0;
    /// How many ways round the board looks the same: 1, 2 (turned by half) or 4 (by a quarter). Its
    /// points may be numbered in as many ways from picture to picture.
    int turns = 1;

    /// Half the diagonal of the points' extent.
    [[nodiscard]] double reach_mm() const;
};

/// `columns` x `rows` points, `pitch_mm` apart, about the middle.
[[nodiscard]] ChartBoard regularBoard(int columns, int rows, double pitch_mm);

/// The points of the board found in one picture.
struct ChartView {
    std::vector<int> point;             ///< which of the board's
    std::vector<Vector2d> recorded_px;  ///< where
};

struct BoardPose {
    Vector3d turn = Vector3d::Zero();      ///< rotation vector (axis times angle, rad)
    Vector3d place_mm = Vector3d::Zero();  ///< of the board's middle, in camera axes
};

/// How the printed board differs from a regular flat grid, in shares of its reach: x, y in units of
/// the reach, X = x (1 + stretch) + skew y,
///     z = bend[0] x² + bend[1] x y + bend[2] y² + curl[0] x³ + curl[1] x² y + curl[2] x y² +
///         curl[3] y³
struct BoardShape {
    double stretch = 0, skew = 0;
    std::array<double, 3> bend{};
    std::array<double, 4> curl{};
};

/// Which of the lens's and the board's numbers a solve is free to change.
///
/// The optical axis (dP) is told from the board's perspective, the distortion's centre (dC + dP)
/// from the distortion's symmetry. A small shift of the centre of k1 r² is the same, to first
/// order, as tangential terms p = k1 dC, so only one of the two is ever solved for.
enum class CentreTerms {
    none,        ///< the axis meets the middle of the picture
    axis,        ///< dP
    tangential,  ///< dP and p1, p2
    distortion,  ///< dP and dC
    both         ///< dP, dC, p1 and p2
};
enum class ShapeTerms {
    flat,  ///< as it was meant to be
    bent,  ///< bend
    bent_and_stretched,
    curled  ///< bend, stretch, skew and curl
};

struct ChartModel {
    DistortionDirection direction = DistortionDirection::recorded_to_flat;
    int above = 1, below = 0;  ///< radial terms above and below the line, 0 .. 3
    CentreTerms centre = CentreTerms::axis;
    ShapeTerms shape = ShapeTerms::flat;

    [[nodiscard]] int freeNumbers() const;  ///< without the poses
    [[nodiscard]] bool operator==(const ChartModel&) const = default;
};

/// "F k1 k3 p1 p2, optical axis; board bent".
[[nodiscard]] std::string nameOf(const ChartModel& model);

}  // namespace plateloom::calib
