// Where exactly a board's points lie, once they have been found roughly; and how wide its edges
// are. Positions are those of calib/sensor.h: the middle of the first pixel is (0.5, 0.5).
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "calib/sensor.h"

namespace plateloom::stitch {

using calib::Vector2d;

/// Bilinear; the nearest pixel of the border outside.
[[nodiscard]] float valueAt(const cv::Mat& picture, const Vector2d& px);

/// Where to look for a corner of four squares: rough place, the steps to the next corners, and how
/// far to look as shares of them: within `reach` of the corner along each step, and of that the
/// strips within `strip` of the edges (markers lie beyond).
struct CornerSite {
    Vector2d px, right, down;
    double reach = 0.33, strip = 0.33;
};

/// The point that all gradients about it are at right angles to (W. Förstner and E. Gülch, A fast
/// operator for detection and precise location of distinct points, 1987). The neighbourhood is the
/// same turned by half, so that neither blur nor the tone curve moves the answer much; bent edges
/// and a light that falls off do, by some hundredths of a pixel. Nullopt at the picture's border,
/// or when it runs away.
[[nodiscard]] std::optional<Vector2d> cornerAt(const cv::Mat& tone, const CornerSite& site);

/// A corner of the board by its column and row; null where none was found.
using CornerOf = std::function<const Vector2d*(int i, int j)>;

/// How the board's lines run through a corner, pixels: s steps to the right it lies at
/// right s + bend_right s^2 / 2, and so downwards.
struct BoardLines {
    Vector2d right, down, bend_right, bend_down;
};
/// From the corners on both sides (at the end of a line the bend is that of the corner before it;
/// of a line of two, none). Nullopt without a neighbour in either direction.
[[nodiscard]] std::optional<BoardLines> linesAt(const CornerOf& corner, int i, int j);

/// Where two edges cross, each fitted by what is steep across it, in linear light: what falls off
/// along the edges has no say, nor have the lens's bends. `rough` as cornerAt finds it; `reach` and
/// `strip` as there.
[[nodiscard]] std::optional<Vector2d> crossingAt(const cv::Mat& light, const Vector2d& rough_px,
                                                 const BoardLines& lines, double reach,
                                                 double strip);

/// How much four squares meeting at a corner look it: the light of one diagonal pair of quadrants
/// minus that of the other. `right` and `down`: the steps to the next corners.
[[nodiscard]] double quadrantContrast(const cv::Mat& tone, const Vector2d& corner_px,
                                      const Vector2d& right, const Vector2d& down, double share);

/// The middle of a dot, dark on bright or the reverse: centre of mass of what differs from the
/// ground about it. `cell_px` is the distance to the nearest neighbour.
struct DotPlace {
    Vector2d px;
    double area_px = 0;
};
[[nodiscard]] std::optional<DotPlace> dotNear(const cv::Mat& light, const Vector2d& rough_px,
                                              double cell_px);

/// 10 to 90 % width of the edge that crosses the line from `px - reach` to `px + reach`, px;
/// nullopt where there is no edge.
[[nodiscard]] std::optional<double> edgeWidth(const cv::Mat& light, const Vector2d& px,
                                              const Vector2d& reach);

}  // namespace plateloom::stitch
