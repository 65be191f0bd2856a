#include "world/lens_charts.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <opencv2/aruco/charuco.hpp>

#include "calib/angle.h"
#include "world/noise.h"
#include "world/point_spread.h"
#include "world/ray_lattice.h"

namespace plateloom::world {

namespace {

using calib::Matrix3d;
using calib::Vector2d;
using calib::Vector3d;

constexpr float kWhite = 0.85f, kBlack = 0.045f, kBackdrop = 0.2f;

// Ink of a board made of whole modules: 1 black, 0 white. A checkerboard has one module a square; a
// ChArUco square has eight, so that a 4x4 marker with its border is six of them.
struct Modules {
    int columns, rows, per_square;
    std::vector<uint8_t> black;

    [[nodiscard]] double at(int x, int y) const {
        if (x < 0 || y < 0 || x >= columns || y >= rows) return 0;
        return black[size_t(y) * size_t(columns) + size_t(x)];
    }
    // Mean over a box, in modules.
    [[nodiscard]] double mean(double u, double v, double half_u, double half_v) const {
        double sum = 0;
        const int y_end = int(std::floor(v + half_v)), x_end = int(std::floor(u + half_u));
        for (int y = int(std::floor(v - half_v)); y <= y_end; ++y) {
            const double h = std::min<double>(y + 1, v + half_v) - std::max<double>(y, v - half_v);
            for (int x = int(std::floor(u - half_u)); x <= x_end; ++x)
                sum += h * at(x, y) *
                       (std::min<double>(x + 1, u + half_u) - std::max<double>(x, u - half_u));
        }
        return sum / (4 * half_u * half_v);
    }
};

Modules modulesOf(const Board& board) {
    if (board.kind == BoardKind::checkerboard) {
        Modules out{board.columns, board.rows, 1, {}};
        for (int y = 0; y < out.rows; ++y)
            for (int x = 0; x < out.columns; ++x) out.black.push_back((x + y) % 2 == 0);
        return out;
    }
    constexpr int kPerSquare = 8;
    const auto markers = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_250);
    const auto drawn = cv::aruco::CharucoBoard::create(board.columns, board.rows, 1.0f,
                                                       float(Board::kMarkerShare), markers);
    cv::Mat ink;
    drawn->draw({board.columns * kPerSquare, board.rows * kPerSquare}, ink, 0, 1);
    Modules out{ink.cols, ink.rows, kPerSquare, {}};
    for (int y = 0; y < ink.rows; ++y)
        for (int x = 0; x < ink.cols; ++x) out.black.push_back(ink.at<uint8_t>(y, x) < 128);
    return out;
}

// How much light a board gives back at a place of its plane, over a small box.
class Reflectance {
public:
    explicit Reflectance(const Board& board) : board_(board) {
        if (board.kind != BoardKind::dots) modules_ = modulesOf(board);
        half_width_m_ = board.columns * board.pitch_m / 2;
        half_height_m_ = board.rows * board.pitch_m / 2;
    }

    [[nodiscard]] float at(const Vector2d& place_m, double half_x_m, double half_y_m) const {
        const double margin_m = 0.7 * board_.pitch_m;  // of white round the pattern
        const double paper = inside(place_m.x(), half_width_m_ + margin_m, half_x_m) *
                             inside(place_m.y(), half_height_m_ + margin_m, half_y_m);
        if (paper <= 0) return backdrop(place_m);
        const double ink = board_.kind == BoardKind::dots ? dots(place_m, half_x_m, half_y_m)
                                                          : squares(place_m, half_x_m, half_y_m);
        const float sheet = kWhite + float(ink) * (kBlack - kWhite);
        return float(paper) * sheet + float(1 - paper) * backdrop(place_m);
    }

private:
    // Share of [x - half, x + half] within [-edge, edge].
    static double inside(double x, double edge, double half) {
        const double from = std::max(x - half, -edge), to = std::min(x + half, edge);
        return std::clamp((to - from) / (2 * half), 0.0, 1.0);
    }
    static float backdrop(const Vector2d& place_m) {
        return kBackdrop *
               (1 + 0.15f * octaves(float(place_m.x() * 4), float(place_m.y() * 4), 4, 0.6f, 17));
    }
    [[nodiscard]] double squares(const Vector2d& place_m, double half_x_m, double half_y_m) const {
        const double modules = modules_.per_square / board_.pitch_m;
        return modules_.mean((place_m.x() + half_width_m_) * modules,
                             (place_m.y() + half_height_m_) * modules, half_x_m * modules,
                             half_y_m * modules);
    }
    // The edge is straight over a box that small.
    [[nodiscard]] double dots(const Vector2d& place_m, double half_x_m, double half_y_m) const {
        const double x = place_m.x() + half_width_m_, y = place_m.y() + half_height_m_;
        const auto nearest = [&](double at, int count) {
            const double i = std::clamp(std::floor(at / board_.pitch_m), 0.0, count - 1.0);
            return at - (i + 0.5) * board_.pitch_m;
        };
        const Vector2d off(nearest(x, board_.columns), nearest(y, board_.rows));
        const double r = off.norm(), radius = 0.5 * Board::kDotDiameter * board_.pitch_m;
        if (r < 1e-9) return 1;
        const double half = std::abs(off.x() / r) * half_x_m + std::abs(off.y() / r) * half_y_m;
        return std::clamp((radius - r) / (2 * half) + 0.5, 0.0, 1.0);
    }

    Board board_;
    Modules modules_{};
    double half_width_m_, half_height_m_;
};

// Facing the camera: board right is camera right, board down is camera down, into the board is
// forward.
Matrix3d facing() {
    Matrix3d m;
    m.col(0) = Vector3d::UnitX();
    m.col(1) = -Vector3d::UnitZ();
    m.col(2) = Vector3d::UnitY();
    return m;
}

// Where a camera ray meets the board.
std::optional<Vector2d> onBoard(const BoardPose& pose, const std::optional<Vector3d>& ray) {
    if (!ray) return std::nullopt;
    const Vector3d normal = pose.cameraFromBoard.col(2);
    const double along = ray->dot(normal);
    const double distance = pose.centre_m.dot(normal) / along;
    if (!(std::abs(along) > 1e-6) || distance <= 0) return std::nullopt;
    return (pose.cameraFromBoard.transpose() * (distance * *ray - pose.centre_m)).head<2>();
}

// Whether the pattern and a little white round it lie in the frame.
bool showsWhole(const Board& board, const BoardPose& pose, const calib::LensMap& lens) {
    for (const double x : {-0.5, 0.5})
        for (const double y : {-0.5, 0.5}) {
            const Vector3d corner((board.columns + 0.4) * x * board.pitch_m,
                                  (board.rows + 0.4) * y * board.pitch_m, 0);
            const auto px = lens.recordedFromRay(pose.cameraFromBoard * corner + pose.centre_m);
            if (!px || !lens.inPicture(*px)) return false;
        }
    return true;
}

// The middles of a row of grid cells and of one more.
std::vector<std::optional<Vector2d>> rowOnBoard(const BoardPose& pose, const RayLattice& rays,
                                                int y) {
    std::vector<std::optional<Vector2d>> row;
    row.reserve(size_t(rays.width()) + 1);
    for (int x = 0; x <= rays.width(); ++x) row.push_back(onBoard(pose, rays.at(x + 0.5, y + 0.5)));
    return row;
}

}  // namespace

std::vector<Vector2d> boardPoints(const Board& board) {
    // Between squares, or in the middle of dots' places.
    const bool dots = board.kind == BoardKind::dots;
    const double first = dots ? 0.5 : 1;
    const int columns = board.columns - !dots, rows = board.rows - !dots;
    std::vector<Vector2d> points;
    for (int y = 0; y < rows; ++y)
        for (int x = 0; x < columns; ++x)
            points.emplace_back((x + first - 0.5 * board.columns) * board.pitch_m,
                                (y + first - 0.5 * board.rows) * board.pitch_m);
    return points;
}

BoardPose boardPose(const calib::LensMap& lens, double across, double down, double distance_m,
                    double yaw_deg, double pitch_deg, double roll_deg) {
    const calib::Sensor& sensor = lens.sensor();
    const Vector3d ray = lens.rayFromFlat(
        {0.5 * (1 + across) * sensor.width_px, 0.5 * (1 + down) * sensor.height_px});
    using Eigen::AngleAxisd;
    const auto radians = [](double deg) { return deg * calib::kRadPerDeg; };
    return {facing() * (AngleAxisd(radians(yaw_deg), Vector3d::UnitY()) *
                        AngleAxisd(radians(pitch_deg), Vector3d::UnitX()) *
                        AngleAxisd(radians(roll_deg), Vector3d::UnitZ()))
                           .toRotationMatrix(),
            ray * (distance_m / ray.y())};
}

std::vector<BoardPose> spreadPoses(const Board& board, const calib::LensMap& lens, int count,
                                   uint32_t seed) {
    Dice dice(seed * 131u + 5u);
    const calib::Sensor& sensor = lens.sensor();
    // Far enough to show two thirds of the frame's width at once, at most.
    const double fills_m = board.columns * board.pitch_m * lens.lens().focal_mm / sensor.width_mm;
    // Turned about either axis, both ways, and square on; places that reach every corner.
    static constexpr double kPlaces[][2] = {{0, 0},      {-0.5, -0.5}, {0.5, 0.5},
                                            {0.5, -0.5}, {-0.5, 0.5},  {-0.55, 0},
                                            {0.55, 0},   {0, -0.5},    {0, 0.5}};
    static constexpr double kTurns[][2] = {{0, 0},   {30, 0},  {-30, 0},  {0, 30},
                                           {0, -30}, {22, 22}, {-22, 22}, {22, -22}};
    // A ChArUco board may reach out of the frame; the others are found only as a whole.
    const bool whole = board.kind != BoardKind::charuco;
    const double away = whole ? 2.0 : 1.55;
    std::vector<BoardPose> poses;
    for (int i = 0; i < count; ++i) {
        const auto& place = kPlaces[i % 9];
        const auto& turn = kTurns[(i * 3 + i / 9) % 8];
        const auto about = [&](double reach) {
            return double(dice.between(float(-reach), float(reach)));
        };
        double across = (whole ? 1.7 : 1) * place[0] + about(0.06);
        double down = (whole ? 1.7 : 1) * place[1] + about(0.06);
        const double distance_m = fills_m * (away + about(0.25));
        const double yaw_deg = turn[0] + about(5), pitch_deg = turn[1] + about(5);
        const double roll_deg = about(whole ? 5 : 12);
        BoardPose pose;
        do {
            pose = boardPose(lens, across, down, distance_m, yaw_deg, pitch_deg, roll_deg);
            across *= 0.97;
            down *= 0.97;
        } while (whole && !showsWhole(board, pose, lens) && std::hypot(across, down) > 0.02);
        poses.push_back(pose);
    }
    return poses;
}

std::vector<std::optional<Vector2d>> recordedPoints(const Board& board, const BoardPose& pose,
                                                    const calib::LensMap& lens) {
    std::vector<std::optional<Vector2d>> out;
    for (const Vector2d& point : boardPoints(board))
        out.push_back(lens.recordedFromRay(
            pose.cameraFromBoard * Vector3d(point.x(), point.y(), 0) + pose.centre_m));
    return out;
}

io::Picture renderChart(const Board& board, const BoardPose& pose, const calib::LensMap& lens,
                        const ChartRender& settings) {
    const int n = settings.samples, margin = spreadMargin_px(settings.blur_px);
    const calib::Sensor& sensor = lens.sensor();
    const RayLattice rays(
        [&](double x, double y) {
            return lens.rayFromRecorded({x / n - margin, y / n - margin});
        },
        (sensor.width_px + 2 * margin) * n, (sensor.height_px + 2 * margin) * n);
    const Reflectance reflectance(board);
    const double half_width_m = 0.5 * board.columns * board.pitch_m;
    io::Picture grid(rays.width(), rays.height(), 3);
    tbb::parallel_for(tbb::blocked_range<int>(0, grid.height, 16), [&](const auto& rows) {
        // A cell's size is how far it is to the next one, across and down.
        std::vector<std::optional<Vector2d>> row = rowOnBoard(pose, rays, rows.begin()), below;
        for (int y = rows.begin(); y < rows.end(); ++y, row.swap(below)) {
            below = rowOnBoard(pose, rays, y + 1);
            for (int x = 0; x < grid.width; ++x) {
                const auto &here = row[size_t(x)], &right = row[size_t(x) + 1];
                const auto& under = below[size_t(x)];
                float value = kBackdrop;
                if (here && right && under) {
                    const Vector2d half =
                        0.5 * ((*right - *here).cwiseAbs() + (*under - *here).cwiseAbs());
                    value = reflectance.at(*here, half.x(), half.y()) *
                            float(1 + settings.lamp_tilt *
                                          std::clamp(here->x() / half_width_m, -2.0, 2.0));
                }
                std::fill_n(grid.at(x, y), 3, value);
            }
        }
    });
    io::Picture chart = gatherPixels(grid, n, settings.blur_px);
    for (int y = 0; y < chart.height; ++y)
        for (int x = 0; x < chart.width; ++x) {
            const double through = lens.transmission({x + 0.5, y + 0.5}) * settings.exposure;
            for (int c = 0; c < 3; ++c) chart.at(x, y)[c] *= float(std::max(0.0, through));
        }
    if (settings.noise > 0) addNoise(chart, settings.noise, 0.05, settings.seed);
    return chart;
}

}  // namespace plateloom::world
