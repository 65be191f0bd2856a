// What the page of a lens's measured shading shows: its figures as JSON.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "io/lens_page.h"
#include "stitch/calibrate/shading_measurement.h"

namespace plateloom::stitch {

[[nodiscard]] nlohmann::json shadingPageJson(const ShadingMeasurement& measured);

/// Throws RoomError.
void writeShadingPage(const std::filesystem::path& folder, const ShadingMeasurement& measured);

}  // namespace plateloom::stitch
