// `plateloom calibrate chart`: pictures of a board to a lens table, one lens for each setting of
// focus and zoom that was shot.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "stitch/calibrate/chart_measure.h"
#include "stitch/calibrate/prep_pictures.h"
#include "stitch/job/progress.h"

namespace plateloom::stitch {

struct ChartRequest {
    PrepRequest prep;
    BoardWish board;
    std::optional<double> sensor_width_mm, sensor_height_mm;
    calib::DistortionDirection direction = calib::DistortionDirection::recorded_to_flat;
    bool board_shape = true;
};

struct ChartJob {
    std::vector<ChartMeasurement> lenses;  ///< one a setting, in the order they came up
    std::vector<std::string> notes, warnings;
    /// What goes into LENS.json.
    [[nodiscard]] calib::LensTable table() const;
    /// Something that a person must see.
    [[nodiscard]] bool needsALook() const;
};

/// Throws io::InputError for pictures that can't be read, differ in size, or show no board; for a
/// sensor that nobody names; and whatever measureLens refuses.
[[nodiscard]] ChartJob measureCharts(const ChartRequest& request, const Progress& progress);

}  // namespace plateloom::stitch
