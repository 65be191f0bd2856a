#include "stitch/survey/cover.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "calib/angle.h"

namespace plateloom::stitch {

namespace {

using calib::kDegPerRad;
using calib::kPi;
using calib::kRadPerDeg;
using calib::Vector2d;
using calib::Vector3d;

// Grows with the angle of (x, z) round a full turn, 0 to 4: the angle's order without its cost.
double turnOf(double x, double z) {
    const double share = z / (std::abs(x) + std::abs(z) + 1e-300);
    return x >= 0 ? (z >= 0 ? share : 4 + share) : 2 - share;
}
// The direction (not of unit length) that has this turn.
Vector2d atTurn(double turn) {
    const double x = turn < 2 ? 1 - turn : turn - 3;
    const double z = turn < 1 ? turn : turn < 3 ? 2 - turn : turn - 4;
    return {x, z};
}

// Points of the recorded frame's edge, in order, corner after corner.
std::vector<Vector2d> edgePixels(const calib::Sensor& sensor, int a_side) {
    const double w = sensor.width_px, h = sensor.height_px;
    std::vector<Vector2d> points;
    for (int i = 0; i < a_side; ++i) points.emplace_back(w * i / a_side, 0);
    for (int i = 0; i < a_side; ++i) points.emplace_back(w, h * i / a_side);
    for (int i = 0; i < a_side; ++i) points.emplace_back(w - w * i / a_side, h);
    for (int i = 0; i < a_side; ++i) points.emplace_back(0, h - h * i / a_side);
    return points;
}

}  // namespace

Vector3d directionOf(const PanTilt_deg& pan_tilt) {
    const double pan = pan_tilt[0] * kRadPerDeg, tilt = pan_tilt[1] * kRadPerDeg;
    return {-std::sin(pan) * std::cos(tilt), std::cos(pan) * std::cos(tilt), std::sin(tilt)};
}

PanTilt_deg panTiltOf(const Vector3d& d) {
    return {std::atan2(-d.x(), d.y()) * kDegPerRad,
            std::atan2(d.z(), std::hypot(d.x(), d.y())) * kDegPerRad};
}

SphereFrame::SphereFrame(const calib::LensMap& lens, const calib::Matrix3d& worldFromCamera)
    : lens_(lens),
      worldFromCamera_(worldFromCamera),
      cameraFromWorld_(worldFromCamera.transpose()) {
    const auto& sensor = lens.sensor();
    const auto ray = lens.rayFromRecorded({0.5 * sensor.width_px, 0.5 * sensor.height_px});
    const Vector3d middle = ray ? *ray : Vector3d::UnitY();
    middle_ = worldFromCamera * middle;
    middle_x_ = middle.x() / middle.y();
    middle_z_ = middle.z() / middle.y();
    setTable();
}

void SphereFrame::setTable() {
    constexpr int kASide = 256;
    struct Point {
        double turn, x, z;
    };
    std::vector<Point> points;
    for (const Vector2d& px : edgePixels(lens_.sensor(), kASide)) {
        const auto ray = lens_.rayFromRecorded(px);
        if (!ray || ray->y() <= 0) continue;
        const double x = ray->x() / ray->y() - middle_x_, z = ray->z() / ray->y() - middle_z_;
        points.push_back({turnOf(x, z), x, z});
        reach_cosine_ = std::min(reach_cosine_, (worldFromCamera_ * *ray).dot(middle_));
    }
    if (points.size() < 3) return;
    std::sort(points.begin(), points.end(),
              [](const Point& l, const Point& r) { return l.turn < r.turn; });
    // Where the ray at each angle crosses the edge between the two points on either side of it.
    size_t next = 0;
    for (int i = 0; i < kAngles; ++i) {
        const double turn = 4.0 * i / kAngles;
        while (next < points.size() && points[next].turn < turn) ++next;
        const Point& b = points[next % points.size()];
        const Point& a = points[(next + points.size() - 1) % points.size()];
        const Vector2d along = atTurn(turn).normalized();
        const double c = along.x(), s = along.y();
        const double across = (b.z - a.z) * c - (b.x - a.x) * s;
        const double distance =
            std::abs(across) > 1e-12 ? (a.x * b.z - a.z * b.x) / across : std::hypot(a.x, a.z);
        edge_at_[size_t(i)] = float(distance);
        // A wedge of the plane before the camera: its solid angle, by the middle of its rings.
        constexpr int kRings = 24;
        const double wedge = 4.0 / kAngles * along.cwiseAbs().sum() * along.cwiseAbs().sum();
        for (int k = 0; k < kRings; ++k) {
            const double r = distance * (k + 0.5) / kRings;
            const double x = middle_x_ + r * c, z = middle_z_ + r * s;
            solid_angle_sr_ += r * (distance / kRings) * wedge / std::pow(1 + x * x + z * z, 1.5);
        }
    }
    edge_at_[kAngles] = edge_at_[0];
}

bool SphereFrame::sees(const Vector3d& world_direction) const {
    const Vector3d ray = cameraFromWorld_ * world_direction;
    if (ray.y() <= 0) return false;
    const double x = ray.x() / ray.y() - middle_x_, z = ray.z() / ray.y() - middle_z_;
    const double at = turnOf(x, z) * (kAngles / 4.0);
    const int i = std::clamp(int(at), 0, kAngles - 1);
    const double share = at - i;
    const double edge = edge_at_[size_t(i)] * (1 - share) + edge_at_[size_t(i) + 1] * share;
    return x * x + z * z < edge * edge;
}

std::vector<Vector3d> SphereFrame::edge(int a_side) const {
    std::vector<Vector3d> directions;
    for (const Vector2d& px : edgePixels(lens_.sensor(), a_side))
        if (const auto ray = lens_.rayFromRecorded(px))
            directions.push_back(worldFromCamera_ * *ray);
    return directions;
}

std::vector<PanTilt_deg> SphereFrame::outline(int a_side) const {
    std::vector<PanTilt_deg> points;
    auto directions = edge(a_side);
    if (directions.empty()) return points;
    directions.push_back(directions.front());
    for (const auto& direction : directions) {
        PanTilt_deg point = panTiltOf(direction);
        if (!points.empty())
            point[0] = points.back()[0] + std::remainder(point[0] - points.back()[0], 360.0);
        points.push_back(point);
    }
    return points;
}

std::vector<Vector3d> SphereFrame::lattice(int columns, int rows) const {
    const auto& sensor = lens_.sensor();
    std::vector<Vector3d> directions;
    directions.reserve(size_t(columns) * size_t(rows));
    for (int j = 0; j < rows; ++j)
        for (int i = 0; i < columns; ++i)
            if (const auto ray = lens_.rayFromRecorded(
                    {(i + 0.5) * sensor.width_px / columns, (j + 0.5) * sensor.height_px / rows}))
                directions.push_back(worldFromCamera_ * *ray);
    return directions;
}

std::vector<SphereFrame> sphereFrames(const std::vector<PlacedPlate>& plates) {
    std::vector<SphereFrame> frames;
    frames.reserve(plates.size());
    for (const auto& plate : plates) frames.emplace_back(plate.lens, plate.worldFromCamera);
    return frames;
}

double overlapOf(const SphereFrame& a, const SphereFrame& b) {
    const double apart = std::acos(std::clamp(a.middle().dot(b.middle()), -1.0, 1.0));
    if (apart > std::acos(a.reachCosine()) + std::acos(b.reachCosine())) return 0;
    const bool a_is_smaller = a.solidAngle_sr() <= b.solidAngle_sr();
    const SphereFrame &smaller = a_is_smaller ? a : b, &other = a_is_smaller ? b : a;
    constexpr int kColumns = 96, kRows = 64;
    const auto directions = smaller.lattice(kColumns, kRows);
    const auto seen = std::count_if(directions.begin(), directions.end(),
                                    [&](const Vector3d& d) { return other.sees(d); });
    return double(seen) / (kColumns * kRows);
}

namespace {

// Adds one to the cells of row y whose middles the frame sees. Only the pans that a circle round
// the frame reaches at this tilt are asked for.
void countRow(const SphereFrame& frame, int y, const std::vector<Vector2d>& columns,
              CoverMap& map) {
    const double tilt = map.tilt_deg(y + 0.5) * kRadPerDeg;
    const PanTilt_deg middle = panTiltOf(frame.middle());
    const double middle_tilt = middle[1] * kRadPerDeg;
    const double beside = std::cos(tilt) * std::cos(middle_tilt);
    const double need = frame.reachCosine() - std::sin(tilt) * std::sin(middle_tilt);
    if (need > beside) return;
    const double half = need <= -beside ? kPi : std::acos(need / beside);
    const double cells_per_rad = map.width / (2 * kPi);
    const double centre = (180 - middle[0]) / 360 * map.width;
    const int reach = std::min(map.width / 2, int(half * cells_per_rad) + 1);
    const int first = int(std::floor(centre)) - reach;
    const int cells = std::min(map.width, 2 * reach + 1);
    const double cosine = std::cos(tilt), sine = std::sin(tilt);
    for (int i = 0; i < cells; ++i) {
        const int x = ((first + i) % map.width + map.width) % map.width;
        const Vector2d& level = columns[size_t(x)];
        if (!frame.sees({level.x() * cosine, level.y() * cosine, sine})) continue;
        uint8_t& count = map.count[size_t(y) * map.width + x];
        count = uint8_t(std::min(255, count + 1));
    }
}

}  // namespace

CoverMap coverMap(const std::vector<SphereFrame>& frames, int width) {
    CoverMap map{width, width / 2, {}};
    map.count.assign(size_t(map.width) * map.height, 0);
    std::vector<Vector2d> columns;
    for (int x = 0; x < width; ++x)
        columns.emplace_back(directionOf({map.pan_deg(x + 0.5), 0}).head<2>());
    tbb::parallel_for(0, map.height, [&](int y) {
        for (const auto& frame : frames) countRow(frame, y, columns, map);
    });
    return map;
}

double coveredShare(const CoverMap& map) {
    double share = 0;
    for (int y = 0; y < map.height; ++y) {
        const auto row = map.count.begin() + ptrdiff_t(size_t(y) * map.width);
        const auto covered =
            std::count_if(row, row + map.width, [](uint8_t count) { return count > 0; });
        // Zone area, 2 pi R^2 (sin b - sin a), over the sphere's 4 pi R^2.
        const double zone = 0.5 * (std::sin(map.tilt_deg(y) * kRadPerDeg) -
                                   std::sin(map.tilt_deg(y + 1) * kRadPerDeg));
        share += zone * double(covered) / map.width;
    }
    return share;
}

}  // namespace plateloom::stitch
