#include "stitch/plates/upright_picture.h"

namespace plateloom::stitch {

calib::Lens turned(const calib::Lens& lens, QuarterTurn turn) {
    const double sign = turn == QuarterTurn::clockwise ? 1 : -1;
    const auto turnedVector = [&](const calib::Vector2d& v) {
        return calib::Vector2d(-sign * v.y(), sign * v.x());
    };
    calib::Lens out = lens;
    out.distortion_offset_mm = turnedVector(lens.distortion_offset_mm);
    out.projection_offset_mm = turnedVector(lens.projection_offset_mm);
    // The tangential terms are r² q + 2 (q . p) p with the vector q = (p2, p1).
    const auto& p = lens.distortion.tangential;
    const calib::Vector2d q = turnedVector({p[1], p[0]});
    out.distortion.tangential = {q.y(), q.x()};
    return out;
}

}  // namespace plateloom::stitch
