// What the pictures of a chart say of one lens at one setting: the lens, and all that a person
// needs to judge it. Plain values; the report's page and the command's summary are made from it.
#pragma once

#include <string>
#include <vector>

#include "calib/chart_choice.h"
#include "calib/lens_table.h"

namespace plateloom::stitch {

enum class BoardKind { checker, charuco, dots };
[[nodiscard]] std::string nameOf(BoardKind kind);

/// One point of the board in one picture.
struct ChartPoint {
    int point = 0;                ///< which of the board's, row by row
    calib::Vector2d recorded_px;  ///< where it was found
    calib::Vector2d residual_px;  ///< found minus predicted
    bool used = true;             ///< false: too far off, took no part in the solve
};

/// How straight the board's rows and columns are in one picture: the furthest point from each
/// line's best straight line.
struct Straightness {
    double worst_px = 0, rms_px = 0;  ///< over all lines of a picture, or of all pictures
};

struct ChartPicture {
    std::string file;
    bool used = true;
    std::string why_not;  ///< of a picture that was left out
    std::vector<ChartPoint> points;
    calib::BoardPose pose;
    double tilt_deg = 0;    ///< between the board's normal and the optical axis
    double distance_m = 0;  ///< of the board's middle
    double rms_px = 0;
    double held_out_rms_px = 0;  ///< when it took no part in the solve
    double edge_px = 0;          ///< width of its black-white edges, 10 to 90 %; 0: not measured
    Straightness recorded, flat;
};

/// Distortion at one image height, from the distortion's centre along the frame's diagonal.
struct DistortionAt {
    double recorded_mm = 0, flat_mm = 0;
    bool supported = true;  ///< points of the chart lie at this height or beyond
    /// (recorded - flat) / flat: negative for a barrel.
    [[nodiscard]] double share() const { return flat_mm > 0 ? recorded_mm / flat_mm - 1 : 0; }
};

struct ChartSupport {
    double reach_mm = 0;  ///< from the picture's middle; five points at least lie there or beyond
    double share = 0;     ///< of the half diagonal
    /// 8 x 8 cells of the frame, row by row: how many points lie in each.
    static constexpr int kCells = 8;
    std::vector<int> points;
    double cells_share = 0;  ///< cells with points in them
    double ring_share = 0;   ///< of the 28 cells along the frame's edge
    int corners = 0;         ///< of the four cells in the frame's corners, those with points
};

struct ChartMeasurement {
    calib::LensSetting setting;
    BoardKind board_kind = BoardKind::checker;
    calib::ChartBoard board;
    calib::Sensor sensor;
    std::vector<ChartPicture> pictures;  ///< in the order they were given, left-out ones too

    calib::Lens lens;
    calib::ChartModel model;
    calib::BoardShape shape;
    std::vector<calib::ScoredModel> tried;
    double rms_px = 0, noise_px = 0, held_out_rms_px = 0;
    double focal_sigma_mm = 0;
    calib::Vector2d axis_sigma_mm = calib::Vector2d::Zero();
    calib::Vector2d tangential_sigma = calib::Vector2d::Zero();  ///< mm^-1
    calib::Vector2d centre_sigma_mm = calib::Vector2d::Zero();
    std::array<double, 3> radial_sigma_mm{};  ///< at calib::kRadialHeights

    ChartSupport support;
    std::vector<DistortionAt> distortion;
    Straightness recorded, flat;  ///< over all used pictures

    std::vector<std::string> notes;
    std::vector<std::string> warnings;  ///< what a person must see: exit status 1
};

}  // namespace plateloom::stitch
