// A flat plate with everything that the recorded one's file holds: depth, mattes, other layers and
// parts, each under its name and in its own type.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "io/frame_file.h"
#include "stitch/flatten/flatten.h"
#include "stitch/flatten/made_findings.h"

namespace plateloom::stitch {

/// The file of a plate that holds more than its picture. Where that can't be flattened with it
/// (deep samples, a file that is not scene-linear or stored turned) `warning` says so, and the
/// picture alone is left.
[[nodiscard]] std::optional<io::FrameFile> frameWithMore(const io::PlateFile& plate,
                                                         std::string* warning);

/// Writes it with the flat plate's data window. The picture gets an alpha where it has none: beyond
/// what was recorded nothing covers.
MadeFindings flattenFrame(const io::FrameFile& file, const calib::LensMap& lens, Fit fit,
                          const std::filesystem::path& target, const std::string& recipe,
                          bool* clamped);

}  // namespace plateloom::stitch
