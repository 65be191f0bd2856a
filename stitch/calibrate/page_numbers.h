// Numbers and names as the page of a measured lens takes them.
#pragma once

#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "calib/lens_table.h"
#include "calib/sensor.h"

namespace plateloom::stitch {

/// What is drawn needs no more digits, and the page is smaller for it. Null when not finite.
[[nodiscard]] inline nlohmann::json rounded(double value, int digits) {
    const double power = std::pow(10.0, digits);
    return std::isfinite(value) ? nlohmann::json(std::round(value * power) / power)
                                : nlohmann::json(nullptr);
}

[[nodiscard]] inline nlohmann::json orNull(const std::optional<double>& value) {
    return value ? nlohmann::json(*value) : nlohmann::json(nullptr);
}

[[nodiscard]] inline std::string fileName(const std::string& path) {
    return std::filesystem::path(path).filename().string();
}

/// What stands above the figures of one setting.
[[nodiscard]] inline std::string headingOf(const calib::LensSetting& setting) {
    const bool known = setting.focus_m || setting.t_stop || setting.focal_mm;
    return known ? toString(setting) : std::string("The lens");
}

[[nodiscard]] inline nlohmann::json frameJson(const calib::Sensor& sensor) {
    return {{"width_px", sensor.width_px},
            {"height_px", sensor.height_px},
            {"width_mm", sensor.width_mm},
            {"height_mm", sensor.height_mm}};
}

}  // namespace plateloom::stitch
