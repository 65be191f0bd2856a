// One lens at one setting from the boards found in its pictures: pictures that don't belong are
// found out, the model chosen, the lens solved and judged.
#pragma once

#include <functional>
#include <optional>

#include "stitch/calibrate/board_detection.h"

namespace plateloom::stitch {

struct FoundPicture {
    std::string file;
    std::optional<FoundBoard> board;  ///< nullopt: none found
};

struct ChartTask {
    calib::LensSetting setting;
    calib::Sensor sensor;
    BoardWish board;
    std::vector<FoundPicture> pictures;
    calib::DistortionDirection direction = calib::DistortionDirection::recorded_to_flat;
    bool board_shape = true;  ///< may the board be found bent
    bool polynomial = false;  ///< terms above the line alone, see calib::ChoiceSettings
    std::optional<calib::ChartModel> model;  ///< said: not chosen
    std::optional<calib::Vector2d> axis_mm;  ///< said: not solved; needs `model`
};

/// Throws io::InputError when the pictures can't tell the lens: fewer than three with a board, all
/// boards seen at one angle, or a solve that comes to nothing.
[[nodiscard]] ChartMeasurement measureLens(const ChartTask& task,
                                           const std::function<void(double share)>& progress = {});

}  // namespace plateloom::stitch
