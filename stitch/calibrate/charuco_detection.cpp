// A checkerboard whose bright squares hold coded markers: every marker says which square it is in,
// so that a board may reach beyond the frame, into its very corners.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <utility>

#include "calib/median.h"
#include "stitch/calibrate/board_detection.h"
#include "stitch/calibrate/board_points.h"

namespace plateloom::stitch {

namespace {

struct Marker {
    int id = 0;
    std::array<Vector2d, 4> corner_px;  // clockwise from its own top left
    [[nodiscard]] Vector2d middle_px() const {
        return (corner_px[0] + corner_px[1] + corner_px[2] + corner_px[3]) / 4;
    }
    [[nodiscard]] double side_px() const {
        double sum = 0;
        for (size_t k = 0; k < 4; ++k) sum += (corner_px[(k + 1) % 4] - corner_px[k]).norm() / 4;
        return sum;
    }
};

struct Family {
    const char* name;
    int bits;
    std::vector<std::pair<int, int>> sizes;  // codes, dictionary: from few codes to many
};

// OpenCV's predefined dictionaries; of one family the smaller is a part of the larger.
const std::vector<Family>& families() {
    using namespace cv::aruco;
    static const std::vector<Family> all{
        {"4x4",
         4,
         {{50, DICT_4X4_50}, {100, DICT_4X4_100}, {250, DICT_4X4_250}, {1000, DICT_4X4_1000}}},
        {"5x5",
         5,
         {{50, DICT_5X5_50}, {100, DICT_5X5_100}, {250, DICT_5X5_250}, {1000, DICT_5X5_1000}}},
        {"6x6",
         6,
         {{50, DICT_6X6_50}, {100, DICT_6X6_100}, {250, DICT_6X6_250}, {1000, DICT_6X6_1000}}},
        {"7x7",
         7,
         {{50, DICT_7X7_50}, {100, DICT_7X7_100}, {250, DICT_7X7_250}, {1000, DICT_7X7_1000}}},
        {"original", 5, {{1024, DICT_ARUCO_ORIGINAL}}}};
    return all;
}

std::vector<Marker> markersIn(const SmallTones& small, const Family& family, int wanted) {
    int dictionary = family.sizes.back().second;
    for (const auto& [codes, which] : family.sizes)
        if (codes >= wanted) {
            dictionary = which;
            break;
        }
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<int> ids;
    auto parameters = cv::aruco::DetectorParameters::create();
    // Markers of a fine board are small, and a frame is large.
    parameters->minMarkerPerimeterRate = 0.01;
    parameters->adaptiveThreshWinSizeMax = 53;
    parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_SUBPIX;
    parameters->cornerRefinementWinSize = 3;
    cv::aruco::detectMarkers(small.tone, cv::aruco::getPredefinedDictionary(dictionary), corners,
                             ids, parameters);
    std::vector<Marker> out;
    for (size_t m = 0; m < ids.size(); ++m) {
        if (ids[m] >= wanted) continue;
        Marker marker;
        marker.id = ids[m];
        for (size_t k = 0; k < 4; ++k) marker.corner_px[k] = small.inPicture(corners[m][k]);
        out.push_back(marker);
    }
    return out;
}

// Where the markers sit: row by row in every other square. Boards differ in whether the first
// square of the first row holds one.
struct Layout {
    int columns, rows;  // squares
    bool first_holds;

    [[nodiscard]] bool holds(int i, int j) const { return ((i + j) % 2 == 0) == first_holds; }
    [[nodiscard]] std::vector<std::pair<int, int>> squares() const {
        std::vector<std::pair<int, int>> out;
        for (int j = 0; j < rows; ++j)
            for (int i = 0; i < columns; ++i)
                if (holds(i, j)) out.emplace_back(i, j);
        return out;
    }
};

// Markers whose middles fit the layout: the homography that the most agree with tells. Lens
// distortion is not in it, so the fit is a loose one.
std::vector<char> agreeing(const Layout& layout, const std::vector<Marker>& markers) {
    const auto squares = layout.squares();
    std::vector<cv::Point2f> board, picture;
    std::vector<size_t> which;
    double side_px = 0;
    for (size_t m = 0; m < markers.size(); ++m) {
        if (markers[m].id >= int(squares.size())) continue;
        const auto [i, j] = squares[size_t(markers[m].id)];
        const Vector2d at = markers[m].middle_px();
        board.emplace_back(float(i) + 0.5f, float(j) + 0.5f);
        picture.emplace_back(float(at.x()), float(at.y()));
        which.push_back(m);
        side_px = std::max(side_px, markers[m].side_px());
    }
    std::vector<char> out(markers.size(), 0);
    if (board.size() < 4) return out;
    std::vector<uint8_t> inlier;
    if (cv::findHomography(board, picture, cv::RANSAC, 0.5 * side_px, inlier).empty()) return out;
    for (size_t k = 0; k < which.size(); ++k) out[which[k]] = char(inlier[k]);
    return out;
}

// Side of a marker over side of its square, from markers a diagonal apart.
double markerShare(const std::map<std::pair<int, int>, Marker>& at) {
    std::vector<double> shares;
    for (const auto& [square, marker] : at)
        for (const int aside : {-1, 1}) {
            const auto other = at.find({square.first + aside, square.second + 1});
            if (other == at.end()) continue;
            const double apart =
                (other->second.middle_px() - marker.middle_px()).norm() / std::sqrt(2.0);
            shares.push_back(0.5 * (marker.side_px() + other->second.side_px()) / apart);
        }
    if (shares.empty()) return 0.75;
    return std::clamp(calib::median(shares), 0.3, 0.97);
}

struct Seen {
    Layout layout;
    std::map<std::pair<int, int>, Marker> marker;  // by square
    double share = 0.75;

    // The picture near corner (i, j) of the squares, from the markers nearest to it.
    [[nodiscard]] cv::Mat near(int i, int j) const {
        std::vector<cv::Point2f> board, picture;
        for (const int reach : {1, 2}) {
            board.clear();
            picture.clear();
            for (int y = j - reach; y < j + reach; ++y)
                for (int x = i - reach; x < i + reach; ++x) {
                    const auto found = marker.find({x, y});
                    if (found != marker.end()) add(x, y, found->second, &board, &picture);
                }
            if (board.size() >= 8) break;
        }
        if (board.size() < 8) return {};
        return cv::findHomography(board, picture);
    }
    void add(int x, int y, const Marker& m, std::vector<cv::Point2f>* board,
             std::vector<cv::Point2f>* picture) const {
        constexpr double kSide[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
        for (size_t k = 0; k < 4; ++k) {
            board->emplace_back(float(x + 0.5 + 0.5 * share * kSide[k][0]),
                                float(y + 0.5 + 0.5 * share * kSide[k][1]));
            picture->emplace_back(float(m.corner_px[k].x()), float(m.corner_px[k].y()));
        }
    }
};

Vector2d mapped(const cv::Mat& h, double x, double y) {
    const cv::Matx33d m = h;
    const cv::Vec3d p = m * cv::Vec3d(x, y, 1);
    return {p[0] / p[2], p[1] / p[2]};
}

// How far a corner's neighbourhood reaches, as a share of the distance to the next corner.
constexpr double kReach = 0.45;

// A corner of the squares that markers lie near to.
struct NearMarkers {
    int i, j;
    CornerSite site;
    Vector2d px;
};

std::vector<NearMarkers> cornersNearMarkers(const cv::Mat& tone, const Seen& seen) {
    const double gap = 0.5 * (1 - seen.share);
    std::vector<NearMarkers> out;
    for (int j = 1; j < seen.layout.rows; ++j)
        for (int i = 1; i < seen.layout.columns; ++i) {
            const cv::Mat h = seen.near(i, j);
            if (h.empty()) continue;
            const Vector2d rough = mapped(h, i, j);
            const Vector2d right = mapped(h, i + 0.5, j) - mapped(h, i - 0.5, j);
            const Vector2d down = mapped(h, i, j + 0.5) - mapped(h, i, j - 0.5);
            const double square_px = std::min(right.norm(), down.norm());
            const CornerSite site{rough, right, down, kReach, gap};
            const auto corner = cornerAt(tone, site);
            if (!corner || (*corner - rough).norm() > 0.25 * square_px) continue;
            out.push_back({i, j, site, *corner});
        }
    return out;
}

// Once more, along the lines that the corners make. The strips stay clear of the markers: of those
// on the far side of a tilted board less lies between. Corners by themselves and at the very edge
// of the frame, that no line leads to, are left out: they are many times less sure.
void refine(const cv::Mat& light, double gap, std::vector<NearMarkers>* corners) {
    constexpr double kClear = 0.7;
    std::map<std::pair<int, int>, Vector2d> at;
    for (const auto& corner : *corners) at[{corner.i, corner.j}] = corner.px;
    const CornerOf find = [&](int i, int j) {
        const auto found = at.find({i, j});
        return found == at.end() ? nullptr : &found->second;
    };
    std::erase_if(*corners, [&](NearMarkers& corner) {
        const auto lines = linesAt(find, corner.i, corner.j);
        if (!lines) return true;
        const auto px = crossingAt(light, corner.px, *lines, kReach, kClear * gap);
        if (px) corner.px = *px;
        return !px;
    });
}

// Leaves out what does not look like a corner of this board: positive contrast is where the square
// up left of it is bright, as those with markers are.
void leaveOutOthers(const cv::Mat& tone, const Seen& seen, std::vector<NearMarkers>* corners) {
    constexpr double kLeast = 0.4;  // of the usual contrast
    const double share = 0.25 * (1 - seen.share);
    std::vector<double> contrasts;
    for (const auto& corner : *corners)
        contrasts.push_back(
            quadrantContrast(tone, corner.px, corner.site.right, corner.site.down, share) *
            (seen.layout.holds(corner.i, corner.j) ? 1 : -1));
    const double usual = calib::median(contrasts);
    std::vector<NearMarkers> kept;
    for (size_t k = 0; k < corners->size(); ++k)
        if (contrasts[k] > kLeast * usual) kept.push_back((*corners)[k]);
    *corners = std::move(kept);
}

// Every inner corner that two markers at least lie near to.
void findCorners(const ChartLight& picture, const Seen& seen, FoundBoard* found) {
    auto corners = cornersNearMarkers(picture.tone, seen);
    leaveOutOthers(picture.tone, seen, &corners);
    const double gap = 0.5 * (1 - seen.share);
    refine(picture.light, gap, &corners);
    std::vector<double> widths;
    for (const auto& corner : corners) {
        found->point.push_back((corner.j - 1) * (seen.layout.columns - 1) + corner.i - 1);
        found->px.push_back(corner.px);
        const Vector2d &right = corner.site.right, &down = corner.site.down;
        for (const Vector2d& along : {right, down})
            if (const auto w = edgeWidth(picture.light, corner.px + 0.5 * along,
                                         0.9 * gap * (along == right ? down : right)))
                widths.push_back(*w);
    }
    if (!widths.empty() && widths.size() >= corners.size() / 2)
        found->edge_px = calib::median(widths);
}

}  // namespace

std::optional<FoundBoard> findCharuco(const ChartLight& picture, const BoardWish& wish) {
    constexpr int kLongest_px = 2600;
    constexpr int kLeastMarkers = 4, kLeastCorners = 6;
    constexpr double kAgreeing = 0.6;
    const SmallTones small = smallTones(picture.tone, kLongest_px);
    const int wanted = (wish.columns * wish.rows + 1) / 2;

    std::optional<Seen> best;
    const Family* best_family = nullptr;
    const std::array<Layout, 2> layouts{Layout{wish.columns, wish.rows, false},
                                        Layout{wish.columns, wish.rows, true}};
    for (const Family& family : families()) {
        if (!wish.dictionary.empty() && wish.dictionary != family.name) continue;
        const auto markers = markersIn(small, family, wanted);
        for (const Layout& layout : layouts) {
            const auto fits = agreeing(layout, markers);
            Seen seen{layout, {}, 0.75};
            const auto squares = layout.squares();
            for (size_t m = 0; m < markers.size(); ++m)
                if (fits[m]) seen.marker.emplace(squares[size_t(markers[m].id)], markers[m]);
            // Of a board of another size a handful of markers may fall into line.
            if (int(seen.marker.size()) < kLeastMarkers ||
                double(seen.marker.size()) < kAgreeing * double(markers.size()))
                continue;
            if (!best || seen.marker.size() > best->marker.size()) {
                best.emplace(seen);
                best_family = &family;
            }
        }
    }
    if (!best) return std::nullopt;
    best->share = wish.marker_mm ? *wish.marker_mm / wish.pitch_mm : markerShare(best->marker);
    FoundBoard found;
    found.kind = BoardKind::charuco;
    found.columns = wish.columns - 1;
    found.rows = wish.rows - 1;
    found.dictionary = best_family->name;
    findCorners(picture, *best, &found);
    if (int(found.point.size()) < kLeastCorners) return std::nullopt;
    return found;
}

}  // namespace plateloom::stitch
