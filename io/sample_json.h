// What OpenTrackIO samples are written from (SMPTE RIS-OSVP; https://opentrackio.org/schema.json):
// a lens block, a camera's sensor, identifiers. io/lens_track_json.h reads them.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "calib/lens.h"
#include "io/timecode.h"

namespace plateloom::io {

/// The `lens` block; what is zero or not known is left out, but for the distortion's model.
[[nodiscard]] nlohmann::ordered_json lensJson(const calib::Lens& lens);
[[nodiscard]] nlohmann::ordered_json rateJson(const FrameRate& rate);
/// The `timing.timecode` block.
[[nodiscard]] nlohmann::ordered_json timecodeJson(const Timecode& timecode, const FrameRate& rate);
/// Active sensor size and resolution, for `static.camera`.
[[nodiscard]] nlohmann::ordered_json sensorJson(const calib::Sensor& sensor);

/// A UUID of version 8 (RFC 9562: custom content), from what it stands for: the same content
/// written twice is the same file.
[[nodiscard]] std::string urnOf(std::string_view content);

/// One line. A file name in another encoding must not stop the job: what is not UTF-8 is replaced.
[[nodiscard]] std::string lineOf(const nlohmann::ordered_json& json);

}  // namespace plateloom::io
