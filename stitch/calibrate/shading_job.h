// `plateloom calibrate shading`: pictures of a flat field to a lens's shading, one for each
// setting of iris, focus and zoom that was shot.
#pragma once

#include <optional>

#include "stitch/calibrate/prep_pictures.h"
#include "stitch/calibrate/shading_measurement.h"
#include "stitch/job/progress.h"

namespace plateloom::stitch {

struct ShadingRequest {
    PrepRequest pictures;
    std::optional<double> sensor_width_mm, sensor_height_mm;
    double black = 0;  ///< linear level without light
    /// Of the same lens, if there is one already: its sensor is taken where nobody says another,
    /// and its geometry says where a picture's light came from.
    std::optional<calib::LensTable> table;
    std::filesystem::path table_path;  ///< for complaints
};

/// Throws io::InputError: pictures that can't be read, that are clipped, hold not a flat field or
/// are too dark; a sensor that nobody names or that is not the table's; pictures of another shape.
[[nodiscard]] ShadingMeasurement measureShading(const ShadingRequest& request,
                                                const Progress& progress);

}  // namespace plateloom::stitch
