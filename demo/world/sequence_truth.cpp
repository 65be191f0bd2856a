#include "world/sequence_truth.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "calib/angle.h"
#include "calib/median.h"
#include "world/patch_shift.h"

namespace plateloom::world {

namespace {

using calib::Matrix3d;
using calib::Vector2d;
using calib::Vector3d;

constexpr int kEdge_px = 21;
constexpr double kSurest_px = 0.06;  // patches whose place is known less surely are left out

bool shown(const io::Picture& picture, int x, int y) {
    return picture.channels < 4 || picture.at(x, y)[3] >= 0.999f;
}

double percentile(std::vector<float>& values, double share) {
    if (values.empty()) return 0;
    const auto at = values.begin() + std::ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

// Cube root: between light and how the eye sees it, so that a lamp does not outweigh its wall.
cv::Mat tonesOf(const io::Picture& picture) {
    cv::Mat tones(picture.height, picture.width, CV_32F);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x) {
            const float* p = picture.at(x, y);
            tones.at<float>(y, x) =
                std::cbrt(std::max(0.0f, 0.25f * p[0] + 0.6f * p[1] + 0.15f * p[2]) + 0.002f);
        }
    cv::GaussianBlur(tones, tones, {}, 1);  // as patchShift wants its pictures
    return tones;
}

bool wholeRound(const io::Picture& picture, int x, int y) {
    constexpr int kReach = kEdge_px / 2 + 4;
    for (int j = y - kReach; j <= y + kReach; j += 2)
        for (int i = x - kReach; i <= x + kReach; i += 2)
            if (i < 0 || j < 0 || i >= picture.width || j >= picture.height ||
                !shown(picture, i, j))
                return false;
    return true;
}

// What a patch says of the turn: displacement along the two axes of its tangent plane, radians.
struct Shift {
    Eigen::Matrix<double, 2, 3> shiftFromTurn;
    Vector2d shift_rad;
};

Shift shiftAt(const io::Picture& picture, const Vector2d& px, const Vector2d& moved_px) {
    const double pan = calib::kPi * (1 - 2 * px.x() / picture.width);
    const double tilt = calib::kPi * (0.5 - px.y() / picture.height);
    const Vector3d ahead(-std::sin(pan) * std::cos(tilt), std::cos(pan) * std::cos(tilt),
                         std::sin(tilt));
    const Vector3d right(std::cos(pan), std::sin(pan), 0), up = right.cross(ahead);
    Shift out;
    // The displacement of a direction d under a small turn w is w x d; its part along e is
    // w . (d x e).
    out.shiftFromTurn.row(0) = ahead.cross(right).transpose();
    out.shiftFromTurn.row(1) = ahead.cross(up).transpose();
    const Vector2d moved = moved_px - px;
    out.shift_rad = {moved.x() * 2 * calib::kPi / picture.width * std::cos(tilt),
                     -moved.y() * calib::kPi / picture.height};
    return out;
}

std::vector<Shift> shiftsBetween(const io::Picture& a, const io::Picture& b) {
    const cv::Mat from = tonesOf(a), to = tonesOf(b);
    std::vector<Shift> shifts;
    const int step = std::max(kEdge_px + 3, a.width / 128);
    for (int y = step / 2; y < a.height; y += step)
        for (int x = step / 2; x < a.width; x += step) {
            const double tilt = calib::kPi * (0.5 - (y + 0.5) / a.height);
            if (std::cos(tilt) < 0.5 || !wholeRound(a, x, y) || !wholeRound(b, x, y)) continue;
            const auto found = patchShift(from, to, x, y, kEdge_px, 3);
            if (!found || found->sigma_px > kSurest_px) continue;
            const Vector2d px(x + 0.5, y + 0.5);
            shifts.push_back(shiftAt(a, px, px + found->px));
        }
    return shifts;
}

// Weighted least squares, weights by Geman and McClure's function of the residual over its own
// robust scale: what moved on its own ends up with none.
Vector3d fittedTurn(const std::vector<Shift>& shifts, double* scale_rad) {
    Vector3d turn = Vector3d::Zero();
    std::vector<double> off(shifts.size());
    for (int round = 0; round < 20; ++round) {
        for (size_t i = 0; i < shifts.size(); ++i)
            off[i] = (shifts[i].shift_rad - shifts[i].shiftFromTurn * turn).norm();
        // The median length of a two-dimensional Gaussian is 1.1774 sigma.
        *scale_rad = std::max(1e-9, calib::median(off) / 1.1774);
        Matrix3d normal = Matrix3d::Zero();
        Vector3d right = Vector3d::Zero();
        for (size_t i = 0; i < shifts.size(); ++i) {
            const double ratio = off[i] / (3 * *scale_rad);
            const double weight = 1 / std::pow(1 + ratio * ratio, 2);
            const auto& J = shifts[i].shiftFromTurn;
            normal += weight * J.transpose() * J;
            right += weight * J.transpose() * shifts[i].shift_rad;
        }
        turn = normal.ldlt().solve(right);
    }
    return turn;
}

}  // namespace

FrameChange frameChange(const io::Picture& a, const io::Picture& b) {
    assert(a.width == b.width && a.height == b.height);
    FrameChange change;
    std::vector<float> relative;
    size_t off = 0;
    float largest = -1;
    for (int y = 0; y < a.height; ++y)
        for (int x = 0; x < a.width; ++x) {
            if (shown(a, x, y) != shown(b, x, y)) change.cover_differs = true;
            if (!shown(a, x, y) || !shown(b, x, y)) continue;
            float worst = 0;
            for (int c = 0; c < 3; ++c)
                worst = std::max(worst, std::abs(b.at(x, y)[c] - a.at(x, y)[c]) /
                                            (std::abs(a.at(x, y)[c]) + 0.001f));
            relative.push_back(worst);
            off += worst > 0.01f;
            if (worst <= largest) continue;
            largest = worst;
            change.x = x;
            change.y = y;
        }
    change.largest = std::max(0.0f, largest);
    change.p999 = percentile(relative, 0.999);
    change.p99 = percentile(relative, 0.99);
    change.median = percentile(relative, 0.5);
    change.far_off = double(off) / double(std::max<size_t>(1, relative.size()));
    return change;
}

FrameTurn frameTurn(const io::Picture& a, const io::Picture& b) {
    assert(a.width == b.width && a.height == b.height);
    const std::vector<Shift> shifts = shiftsBetween(a, b);
    FrameTurn out;
    out.patches = int(shifts.size());
    if (shifts.size() < 3) return out;
    const double px_per_rad = a.width / (2 * calib::kPi);
    double scale_rad = 0;
    out.turn_rad = fittedTurn(shifts, &scale_rad);
    out.residual_px = scale_rad * px_per_rad;
    for (const Shift& shift : shifts)
        out.turn_px += (shift.shiftFromTurn * out.turn_rad).squaredNorm() / double(shifts.size());
    out.turn_px = std::sqrt(out.turn_px) * px_per_rad;
    return out;
}

ResidualShake residualShake(const std::vector<FrameTurn>& against_first, double px_per_rad) {
    ResidualShake out;
    out.each = against_first;
    if (against_first.empty()) return out;
    // The first frame is one of them, with a turn of nothing.
    const double frames = double(against_first.size()) + 1;
    Vector3d mean = Vector3d::Zero();
    out.fewest_patches = against_first[0].patches;
    for (const FrameTurn& turn : against_first) {
        mean += turn.turn_rad / frames;
        out.fewest_patches = std::min(out.fewest_patches, turn.patches);
    }
    double squares = mean.squaredNorm();
    double largest = mean.norm();
    for (const FrameTurn& turn : against_first) {
        squares += (turn.turn_rad - mean).squaredNorm();
        largest = std::max(largest, (turn.turn_rad - mean).norm());
    }
    out.rms_px = std::sqrt(squares / frames) * px_per_rad;
    out.largest_px = largest * px_per_rad;
    return out;
}

}  // namespace plateloom::world
