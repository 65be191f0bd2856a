#include <cmath>

#include "calib/angle.h"
#include "calib/chart_solve.h"

namespace plateloom::calib {

std::vector<ChartView> withDotsCentred(const ChartBoard& board, const std::vector<ChartView>& views,
                                       const Sensor& sensor, const ChartFit& fit) {
    std::vector<ChartView> out = views;
    if (!(board.dot_mm > 0)) return out;
    constexpr int kSides = 24;
    for (size_t v = 0; v < views.size(); ++v)
        for (size_t i = 0; i < views[v].point.size(); ++i) {
            const Vector2d middle = board.points_mm[size_t(views[v].point[i])];
            const Vector2d near = views[v].recorded_px[i];
            const auto at = recordedPoint(board, sensor, fit, fit.poses[v], middle, near);
            std::vector<Vector2d> rim;
            for (int k = 0; at && k < kSides; ++k) {
                const double turn = 2 * kPi * k / kSides;
                const auto p = recordedPoint(
                    board, sensor, fit, fit.poses[v],
                    middle + 0.5 * board.dot_mm * Vector2d(std::cos(turn), std::sin(turn)), near);
                if (p) rim.push_back(*p - *at);
            }
            if (int(rim.size()) != kSides) continue;
            // Centre of area of the polygon, from its middle (the shoelace formula).
            double area = 0;
            Vector2d moment = Vector2d::Zero();
            for (int k = 0; k < kSides; ++k) {
                const Vector2d &a = rim[size_t(k)], &b = rim[size_t((k + 1) % kSides)];
                const double cross = a.x() * b.y() - a.y() * b.x();
                area += 0.5 * cross;
                moment += cross * (a + b) / 6;
            }
            if (std::abs(area) > 1e-9) out[v].recorded_px[i] -= moment / area;
        }
    return out;
}

}  // namespace plateloom::calib
