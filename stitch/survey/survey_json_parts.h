// What the surveys of stills and of takes put into their JSON alike.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "stitch/survey/survey.h"

namespace plateloom::stitch {

template <class T>
nlohmann::json orNull(const std::optional<T>& value) {
    return value ? nlohmann::json(*value) : nlohmann::json(nullptr);
}
inline nlohmann::json textOrNull(const std::string& text) {
    return text.empty() ? nlohmann::json(nullptr) : nlohmann::json(text);
}

template <class T, class ToJson>
nlohmann::json listOf(const std::vector<T>& items, ToJson toJson) {
    nlohmann::json out = nlohmann::json::array();
    for (const T& item : items) out.push_back(toJson(item));
    return out;
}

[[nodiscard]] nlohmann::json findingJson(const Finding& finding);

/// pan_deg, tilt_deg and roll_deg into `out`; null where there is no place.
void addPose(const calib::PanTiltRoll& pose, bool placed, nlohmann::json* out);

}  // namespace plateloom::stitch
