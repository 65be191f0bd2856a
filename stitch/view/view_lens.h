// The shot's lens out of a lens table: what the camera track leaves out, at the focus, T-stop and
// focal length that it tells for each frame.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/shot_camera.h"
#include "stitch/plates/lens_data.h"

namespace plateloom::stitch {

/// What a person says of the shot's lens and sensor beside its track.
struct SaidOfLens {
    std::optional<double> focal_mm, sensor_width_mm;
};

/// A sample that has its own distortion, or shading, keeps it. The sensor is the sample's, else
/// what was said, else the table's. Warnings, each once, go to camera.warnings. Throws
/// io::InputError for a frame without a ring that the table's lens changes with.
void addMeasuredLens(const TableInUse& table, const SaidOfLens& told, io::ShotCamera& camera);

/// The one lens table of `--lens`. Throws io::InputError for anything else.
[[nodiscard]] TableInUse readLensTableInUse(const std::filesystem::path& path);

}  // namespace plateloom::stitch
