#include "stitch/calibrate/chart_figures.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <functional>

namespace plateloom::stitch {

using calib::Vector2d;

ChartSupport supportOf(const std::vector<ChartPicture>& pictures, const calib::Sensor& sensor) {
    constexpr int kCells = ChartSupport::kCells;
    constexpr size_t kEnough = 5;
    ChartSupport out;
    out.points.assign(size_t(kCells * kCells), 0);
    std::vector<double> radii_mm;
    for (const auto& picture : pictures) {
        if (!picture.used) continue;
        for (const auto& point : picture.points) {
            if (!point.used) continue;
            radii_mm.push_back(calib::mmFromPixel(sensor, point.recorded_px).norm());
            const int x = int(point.recorded_px.x() / sensor.width_px * kCells);
            const int y = int(point.recorded_px.y() / sensor.height_px * kCells);
            ++out.points[size_t(std::clamp(y, 0, kCells - 1) * kCells +
                                std::clamp(x, 0, kCells - 1))];
        }
    }
    if (radii_mm.size() >= kEnough) {
        std::nth_element(radii_mm.begin(), radii_mm.begin() + ptrdiff_t(kEnough - 1),
                         radii_mm.end(), std::greater<>());
        out.reach_mm = radii_mm[kEnough - 1];
    }
    out.share = out.reach_mm / sensor.halfDiagonal_mm();
    int filled = 0, ring = 0;
    for (int y = 0; y < kCells; ++y)
        for (int x = 0; x < kCells; ++x) {
            if (out.points[size_t(y * kCells + x)] == 0) continue;
            const bool side = x == 0 || x == kCells - 1, level = y == 0 || y == kCells - 1;
            ++filled;
            ring += side || level;
            out.corners += side && level;
        }
    out.cells_share = double(filled) / (kCells * kCells);
    out.ring_share = double(ring) / (4 * (kCells - 1));
    return out;
}

std::vector<DistortionAt> distortionCurve(const calib::Lens& lens, const calib::Sensor& sensor,
                                          double supported_mm) {
    constexpr int kSteps = 48;
    const calib::LensMap map(lens, sensor);
    const Vector2d centre = lens.distortion_offset_mm + lens.projection_offset_mm;
    const Vector2d diagonal = Vector2d(sensor.width_mm, sensor.height_mm).normalized();
    std::vector<DistortionAt> out;
    for (int i = 0; i <= kSteps; ++i) {
        DistortionAt at;
        at.recorded_mm = sensor.halfDiagonal_mm() * i / kSteps;
        const auto flat = map.flatFromRecorded_mm(centre + at.recorded_mm * diagonal);
        if (!flat) break;
        at.flat_mm = (*flat - centre).norm();
        at.supported = at.recorded_mm <= supported_mm;
        out.push_back(at);
    }
    return out;
}

Straightness straightnessOf(const calib::ChartBoard& board, const std::vector<ChartPoint>& points,
                            const std::vector<Vector2d>& px) {
    std::vector<std::vector<Vector2d>> lines(size_t(board.rows + board.columns));
    for (size_t i = 0; i < points.size(); ++i) {
        if (!points[i].used) continue;
        lines[size_t(points[i].point / board.columns)].push_back(px[i]);
        lines[size_t(board.rows + points[i].point % board.columns)].push_back(px[i]);
    }
    Straightness out;
    double square = 0, count = 0;
    for (const auto& line : lines) {
        if (line.size() < 4) continue;
        Vector2d mean = Vector2d::Zero();
        for (const auto& p : line) mean += p / double(line.size());
        Eigen::Matrix2d scatter = Eigen::Matrix2d::Zero();
        for (const auto& p : line) scatter += (p - mean) * (p - mean).transpose();
        const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(scatter);
        for (const auto& p : line) {
            const double off = std::abs(eigen.eigenvectors().col(0).dot(p - mean));
            out.worst_px = std::max(out.worst_px, off);
            square += off * off;
            ++count;
        }
    }
    if (count > 0) out.rms_px = std::sqrt(square / count);
    return out;
}

Straightness together(const std::vector<ChartPicture>& pictures,
                      Straightness ChartPicture::*which) {
    Straightness out;
    double square = 0, count = 0;
    for (const auto& picture : pictures) {
        if (!picture.used) continue;
        const auto& one = picture.*which;
        const auto weight = double(picture.points.size());
        out.worst_px = std::max(out.worst_px, one.worst_px);
        square += weight * one.rms_px * one.rms_px;
        count += weight;
    }
    if (count > 0) out.rms_px = std::sqrt(square / count);
    return out;
}

}  // namespace plateloom::stitch
