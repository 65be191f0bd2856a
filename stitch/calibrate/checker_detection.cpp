#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <utility>

#include "calib/median.h"
#include "stitch/calibrate/board_detection.h"
#include "stitch/calibrate/board_points.h"

namespace plateloom::stitch {

namespace {

using Points = std::vector<Vector2d>;

// How far a corner's neighbourhood reaches, as a share of the distance to the next corner.
constexpr double kCheckReach = 0.45;
// How far beside an edge it still has a say once it is known where the edge runs: a light that
// falls off makes the two ends of the other edge unlike.
constexpr double kStrip = 0.15;

struct Grid {
    int columns, rows;
    Points px;

    [[nodiscard]] const Vector2d& at(int i, int j) const { return px[size_t(j * columns + i)]; }
    // The step to the next corner, taken backwards at the last one.
    [[nodiscard]] Vector2d right(int i, int j) const {
        return i + 1 < columns ? at(i + 1, j) - at(i, j) : at(i, j) - at(i - 1, j);
    }
    [[nodiscard]] Vector2d down(int i, int j) const {
        return j + 1 < rows ? at(i, j + 1) - at(i, j) : at(i, j) - at(i, j - 1);
    }
    // The same board seen a quarter turn further: its first corner is the last of the first column.
    [[nodiscard]] Grid turned() const {
        Grid out{rows, columns, {}};
        for (int j = 0; j < columns; ++j)
            for (int i = 0; i < rows; ++i) out.px.push_back(at(j, rows - 1 - i));
        return out;
    }
    void mirror() {
        for (int j = 0; j < rows; ++j)
            std::reverse(px.begin() + ptrdiff_t(j) * columns,
                         px.begin() + ptrdiff_t(j + 1) * columns);
    }
};

double squareTone(const cv::Mat& tone, const Grid& grid, int i, int j) {
    const Vector2d middle =
        (grid.at(i, j) + grid.at(i + 1, j) + grid.at(i, j + 1) + grid.at(i + 1, j + 1)) / 4;
    return double(valueAt(tone, middle));
}

// Corners numbered as on a board seen from its front, the first square between them dark, wherever
// the board can be told from itself turned.
int orient(const cv::Mat& tone, Grid* grid) {
    const Vector2d a = grid->right(0, 0), b = grid->down(0, 0);
    if (a.x() * b.y() - a.y() * b.x() < 0) grid->mirror();
    const bool square = grid->columns == grid->rows;
    const bool half_differs = (grid->columns + grid->rows) % 2 == 1;
    const bool quarter_differs = square && grid->columns % 2 == 1;
    const bool dark_first = squareTone(tone, *grid, 0, 0) < squareTone(tone, *grid, 1, 0);
    if (!dark_first && half_differs) std::reverse(grid->px.begin(), grid->px.end());
    if (!dark_first && quarter_differs) *grid = grid->turned();
    return half_differs ? 1 : square && !quarter_differs ? 4 : 2;
}

// With the steps that the detector's corners tell.
bool findRoughly(const cv::Mat& tone, Grid* grid) {
    Points rough(grid->px.size());
    for (int j = 0; j < grid->rows; ++j)
        for (int i = 0; i < grid->columns; ++i) {
            // Steps half as long to both sides, where there is another corner: the middle of a
            // perspective.
            CornerSite site{grid->at(i, j), grid->right(i, j), grid->down(i, j), kCheckReach,
                            kCheckReach};
            if (i > 0 && i + 1 < grid->columns)
                site.right = 0.5 * (grid->at(i + 1, j) - grid->at(i - 1, j));
            if (j > 0 && j + 1 < grid->rows)
                site.down = 0.5 * (grid->at(i, j + 1) - grid->at(i, j - 1));
            const auto found = cornerAt(tone, site);
            if (!found) return false;
            rough[size_t(j * grid->columns + i)] = *found;
        }
    grid->px = std::move(rough);
    return true;
}

// Along the lines that the corners make. Returns those that it could not do for, at the very edge
// of the frame.
std::vector<bool> refine(const cv::Mat& light, Grid* grid) {
    const CornerOf corner = [&](int i, int j) -> const Vector2d* {
        const bool on = i >= 0 && j >= 0 && i < grid->columns && j < grid->rows;
        return on ? &grid->at(i, j) : nullptr;
    };
    Points fine = grid->px;
    std::vector<bool> rough(fine.size(), true);
    for (int j = 0; j < grid->rows; ++j)
        for (int i = 0; i < grid->columns; ++i) {
            const auto lines = linesAt(corner, i, j);
            if (!lines) continue;
            const auto found = crossingAt(light, grid->at(i, j), *lines, kCheckReach, kStrip);
            if (!found) continue;
            fine[size_t(j * grid->columns + i)] = *found;
            rough[size_t(j * grid->columns + i)] = false;
        }
    grid->px = std::move(fine);
    return rough;
}

// Where the contrast of the four squares about a corner is looked at, as a share of the steps.
constexpr double kQuadrant = 0.3;

// Sums over the corners: as if the sign changed from each to the next, and without any.
struct Contrast {
    double alternating = 0, all = 0;
};

Contrast contrastOf(const cv::Mat& tone, const Grid& grid) {
    Contrast sum;
    for (int j = 0; j < grid.rows; ++j)
        for (int i = 0; i < grid.columns; ++i) {
            const double one =
                quadrantContrast(tone, grid.at(i, j), grid.right(i, j), grid.down(i, j), kQuadrant);
            sum.alternating += (i + j) % 2 == 0 ? one : -one;
            sum.all += std::abs(one);
        }
    return sum;
}

// Whether dark and light change places from each corner to the next. The detectors also see grids
// in a wall of books, and boards of which they leave out every other row.
bool isCheckered(const Contrast& contrast) {
    constexpr double kAgreeing = 0.9;  // glare may wash out a few
    return std::abs(contrast.alternating) > kAgreeing * contrast.all;
}

// Whether the squares go on beyond the corners that were asked for: then the size is wrong, and the
// corners may be any part of the board.
bool goesOn(const cv::Mat& tone, const Grid& grid, const Contrast& contrast) {
    const double inside = contrast.all / double(grid.px.size());
    // At the board's own border one of the four quadrants differs from the rest: half the contrast.
    const auto looksLikeCorner = [&](const Vector2d& at, const Vector2d& a, const Vector2d& b) {
        return at.x() > 2 && at.y() > 2 && at.x() < tone.cols - 2 && at.y() < tone.rows - 2 &&
               std::abs(quadrantContrast(tone, at, a, b, kQuadrant)) > 0.75 * inside;
    };
    Grid side = grid;
    for (int turn = 0; turn < 4; ++turn, side = side.turned()) {
        int like = 0;
        for (int i = 0; i < side.columns; ++i) {
            const Vector2d step = side.at(i, 0) - side.at(i, 1);
            like += looksLikeCorner(side.at(i, 0) + step, side.right(i, 0), step);
        }
        if (like >= 0.8 * side.columns) return true;
    }
    return false;
}

double medianEdge(const cv::Mat& light, const Grid& grid) {
    std::vector<double> widths;
    for (int j = 0; j < grid.rows; ++j)
        for (int i = 0; i < grid.columns; ++i) {
            const Vector2d right = grid.right(i, j), down = grid.down(i, j);
            if (i + 1 < grid.columns)
                if (const auto w = edgeWidth(light, grid.at(i, j) + 0.5 * right, 0.4 * down))
                    widths.push_back(*w);
            if (j + 1 < grid.rows)
                if (const auto w = edgeWidth(light, grid.at(i, j) + 0.5 * down, 0.4 * right))
                    widths.push_back(*w);
        }
    if (widths.size() < grid.px.size() / 2) return 0;
    return calib::median(widths);
}

}  // namespace

std::optional<FoundBoard> findChecker(const ChartLight& picture, const BoardWish& wish) {
    constexpr int kLongest_px = 1600;
    const SmallTones small = smallTones(picture.tone, kLongest_px);
    const cv::Size size(wish.columns, wish.rows);
    std::vector<cv::Point2f> corners;
    // Two detectors that fail on different pictures.
    if (!cv::findChessboardCornersSB(
            small.tone, size, corners,
            cv::CALIB_CB_NORMALIZE_IMAGE | cv::CALIB_CB_EXHAUSTIVE | cv::CALIB_CB_ACCURACY) &&
        !cv::findChessboardCorners(small.tone, size, corners))
        return std::nullopt;
    Grid grid{wish.columns, wish.rows, {}};
    for (const auto& corner : corners) grid.px.push_back(small.inPicture(corner));
    FoundBoard found;
    found.turns = orient(picture.tone, &grid);
    if (!findRoughly(picture.tone, &grid)) return std::nullopt;
    const Contrast contrast = contrastOf(picture.tone, grid);
    if (!isCheckered(contrast) || goesOn(picture.tone, grid, contrast)) return std::nullopt;
    found.kind = BoardKind::checker;
    found.columns = wish.columns;
    found.rows = wish.rows;
    const std::vector<bool> rough = refine(picture.light, &grid);
    for (size_t k = 0; k < grid.px.size(); ++k) {
        if (rough[k]) continue;
        found.point.push_back(int(k));
        found.px.push_back(grid.px[k]);
    }
    found.edge_px = medianEdge(picture.light, grid);
    return found;
}

}  // namespace plateloom::stitch
