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

calib::Lens turned(const calib::Lens& lens, int quarter_turn) {
    if (quarter_turn == 0) return lens;
    return turned(lens, quarter_turn > 0 ? QuarterTurn::clockwise : QuarterTurn::counterclockwise);
}

calib::Vector2d turnedBack(const calib::Vector2d& upright, int quarter_turn) {
    if (quarter_turn == 0) return upright;
    return {quarter_turn * upright.y(), -quarter_turn * upright.x()};
}

calib::Matrix3d uprightFromRecorded(int quarter_turn) {
    calib::Matrix3d turn = calib::Matrix3d::Identity();
    if (quarter_turn == 0) return turn;
    // A ray is (x, F, -y) of a place (x, y), and (x, y) becomes (-y, x) by a turn clockwise.
    turn << 0, 0, quarter_turn, 0, 1, 0, -quarter_turn, 0, 0;
    return turn;
}

}  // namespace plateloom::stitch
