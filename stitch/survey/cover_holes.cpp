#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "calib/angle.h"
#include "stitch/survey/wanted_cover.h"

namespace plateloom::stitch {

namespace {

using calib::kDegPerRad;
using calib::kRadPerDeg;

constexpr double kLeastAcross_deg = 0.4, kLeastAlong_deg = 0.2;

// A raster of what is wanted and not seen, turned so that no hole lies across its ends (unless one
// goes all the way round).
struct HoleMask {
    cv::Mat mask;   // 255 in holes
    int first = 0;  // the map's column that stands first
};

HoleMask maskOf(const CoverMap& map, const WantedCover& wanted) {
    cv::Mat mask(map.height, map.width, CV_8U, cv::Scalar(0));
    for (int y = 0; y < map.height; ++y) {
        const double tilt = map.tilt_deg(y + 0.5);
        if (tilt < wanted.low_deg || tilt > wanted.high_deg) continue;
        for (int x = 0; x < map.width; ++x)
            if (map.at(x, y) == 0 && wanted.wants(map.pan_deg(x + 0.5), tilt))
                mask.at<uint8_t>(y, x) = 255;
    }
    HoleMask out;
    while (out.first < map.width && cv::countNonZero(mask.col(out.first)) > 0) ++out.first;
    if (out.first == map.width) out.first = 0;
    if (out.first == 0) {
        out.mask = mask;
        return out;
    }
    out.mask.create(mask.size(), CV_8U);
    mask.colRange(out.first, map.width).copyTo(out.mask.colRange(0, map.width - out.first));
    mask.colRange(0, out.first).copyTo(out.mask.colRange(map.width - out.first, map.width));
    return out;
}

double wrapped_deg(double pan_deg) {
    const double wrapped = std::remainder(pan_deg, 360.0);
    return wrapped <= -180 ? wrapped + 360 : wrapped;
}

std::vector<PanTilt_deg> outlineOf(const cv::Mat& component, const cv::Rect& box,
                                   const CoverMap& map, int first) {
    std::vector<std::vector<cv::Point>> contours;
    cv::findContours(component.clone(), contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
    if (contours.empty()) return {};
    const auto longest =
        std::max_element(contours.begin(), contours.end(),
                         [](const auto& a, const auto& b) { return a.size() < b.size(); });
    std::vector<cv::Point> simple;
    cv::approxPolyDP(*longest, simple, 0.8, true);
    std::vector<PanTilt_deg> outline;
    // Contours run through the middles of the outermost cells: half a cell is added outward.
    const double middle_x = 0.5 * (box.width - 1), middle_y = 0.5 * (box.height - 1);
    for (const auto& point : simple) {
        const double x = point.x + 0.5 + (point.x >= middle_x ? 0.5 : -0.5);
        const double y = point.y + 0.5 + (point.y >= middle_y ? 0.5 : -0.5);
        outline.push_back({map.pan_deg(first + box.x + x), map.tilt_deg(box.y + y)});
    }
    if (!outline.empty()) outline.push_back(outline.front());
    return outline;
}

Hole holeOf(const cv::Mat& component, const cv::Rect& box, const CoverMap& map, int first) {
    const double cell_deg = 360.0 / map.width;
    Hole hole;
    double weight = 0, pan = 0, tilt = 0, widest_deg = 0;
    for (int y = 0; y < box.height; ++y) {
        const double row_tilt = map.tilt_deg(box.y + y + 0.5);
        const double level = std::cos(row_tilt * kRadPerDeg);
        int cells = 0;
        for (int x = 0; x < box.width; ++x) {
            if (!component.at<uint8_t>(y, x)) continue;
            ++cells;
            weight += level;
            pan += level * map.pan_deg(first + box.x + x + 0.5);
            tilt += level * row_tilt;
        }
        widest_deg = std::max(widest_deg, cells * cell_deg * level);
    }
    hole.area_deg2 = weight * cell_deg * cell_deg;
    hole.pan_deg = wrapped_deg(pan / weight);
    hole.tilt_deg = tilt / weight;
    hole.width_deg = widest_deg;
    hole.height_deg = box.height * cell_deg;
    hole.outline = outlineOf(component, box, map, first);
    return hole;
}

}  // namespace

std::vector<Hole> holesIn(const CoverMap& map, const WantedCover& wanted) {
    std::vector<Hole> holes;
    if (wanted.low_deg > wanted.high_deg) return holes;
    const HoleMask hole_mask = maskOf(map, wanted);
    cv::Mat labels, stats, centroids;
    const int count = cv::connectedComponentsWithStats(hole_mask.mask, labels, stats, centroids, 8);
    for (int label = 1; label < count; ++label) {
        const cv::Rect box(
            stats.at<int>(label, cv::CC_STAT_LEFT), stats.at<int>(label, cv::CC_STAT_TOP),
            stats.at<int>(label, cv::CC_STAT_WIDTH), stats.at<int>(label, cv::CC_STAT_HEIGHT));
        const cv::Mat component = labels(box) == label;
        Hole hole = holeOf(component, box, map, hole_mask.first);
        const auto [narrow, wide] = std::minmax(hole.width_deg, hole.height_deg);
        if (wide < kLeastAcross_deg || narrow < kLeastAlong_deg) continue;
        holes.push_back(std::move(hole));
    }
    std::sort(holes.begin(), holes.end(),
              [](const Hole& a, const Hole& b) { return a.area_deg2 > b.area_deg2; });
    return holes;
}

}  // namespace plateloom::stitch
