#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>

#include "calib/angle.h"
#include "calib/median.h"
#include "stitch/calibrate/board_detection.h"
#include "stitch/calibrate/board_points.h"

namespace plateloom::stitch {

namespace {

cv::Ptr<cv::FeatureDetector> blobs(const cv::Mat& tone, bool dark) {
    cv::SimpleBlobDetector::Params p;
    p.filterByColor = true;
    p.blobColor = dark ? 0 : 255;
    p.filterByArea = true;
    p.minArea = 12;
    p.maxArea = 0.01f * float(tone.total());
    p.filterByCircularity = false;
    p.filterByInertia = true;
    p.minInertiaRatio = 0.15f;  // a dot seen at 80 degrees is no use
    p.filterByConvexity = true;
    p.minConvexity = 0.85f;
    p.minDistBetweenBlobs = 4;
    p.minThreshold = 20;
    p.maxThreshold = 235;
    p.thresholdStep = 12;
    return cv::SimpleBlobDetector::create(p);
}

bool findGrid(const cv::Mat& tone, cv::Size size, std::vector<cv::Point2f>* middles) {
    for (const bool dark : {true, false})
        for (const int how : {int(cv::CALIB_CB_SYMMETRIC_GRID),
                              cv::CALIB_CB_SYMMETRIC_GRID | cv::CALIB_CB_CLUSTERING})
            if (cv::findCirclesGrid(tone, size, *middles, how, blobs(tone, dark))) return true;
    return false;
}

}  // namespace

std::optional<FoundBoard> findDots(const ChartLight& picture, const BoardWish& wish) {
    constexpr int kLongest_px = 1600;
    const SmallTones small = smallTones(picture.tone, kLongest_px);
    const int columns = wish.columns, rows = wish.rows;
    std::vector<cv::Point2f> middles;
    if (!findGrid(small.tone, {columns, rows}, &middles)) return std::nullopt;

    std::vector<Vector2d> rough;
    for (const auto& middle : middles) rough.push_back(small.inPicture(middle));
    const auto at = [&](int i, int j) -> Vector2d& { return rough[size_t(j * columns + i)]; };
    const Vector2d a = at(columns - 1, 0) - at(0, 0), b = at(0, rows - 1) - at(0, 0);
    if (a.x() * b.y() - a.y() * b.x() < 0)
        for (int j = 0; j < rows; ++j)
            std::reverse(rough.begin() + ptrdiff_t(j) * columns,
                         rough.begin() + ptrdiff_t(j + 1) * columns);

    FoundBoard found;
    found.kind = BoardKind::dots;
    found.columns = columns;
    found.rows = rows;
    found.turns = columns == rows ? 4 : 2;
    std::vector<double> diameters, widths;
    for (int j = 0; j < rows; ++j)
        for (int i = 0; i < columns; ++i) {
            const Vector2d right =
                i + 1 < columns ? at(i + 1, j) - at(i, j) : at(i, j) - at(i - 1, j);
            const Vector2d down = j + 1 < rows ? at(i, j + 1) - at(i, j) : at(i, j) - at(i, j - 1);
            const auto dot = dotNear(picture.light, at(i, j), std::min(right.norm(), down.norm()));
            if (!dot) return std::nullopt;
            found.point.push_back(j * columns + i);
            found.px.push_back(dot->px);
            // The dot's share of its cell is the same on the board and in the picture.
            const double cell_px = std::abs(right.x() * down.y() - right.y() * down.x());
            diameters.push_back(2 * wish.pitch_mm * std::sqrt(dot->area_px / cell_px / calib::kPi));
            const double radius = diameters.back() / 2 / wish.pitch_mm;
            if (const auto w = edgeWidth(picture.light, dot->px + radius * right,
                                         0.8 * std::min(radius, 0.5 - radius) * right))
                widths.push_back(*w);
        }
    found.dot_mm = calib::median(diameters);
    if (widths.size() >= found.px.size() / 2) found.edge_px = calib::median(widths);
    return found;
}

}  // namespace plateloom::stitch
