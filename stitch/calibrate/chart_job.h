// `plateloom calibrate chart`: pictures of a board to a lens table, one lens for each setting of
// focus and zoom that was shot.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "io/plate_file.h"
#include "stitch/calibrate/chart_measure.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

struct ChartRequest {
    std::vector<std::string> pictures;  ///< as PLATES anywhere
    std::optional<io::FrameRange> frames;
    std::optional<std::filesystem::path> report;
    std::string colour_space;
    BoardWish board;
    std::optional<double> sensor_width_mm, sensor_height_mm;
    /// For all pictures, whatever report and metadata say.
    std::optional<double> focal_mm, focus_m, t_stop;
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
