// LENS.json: a lens table (calib/lens_table.h) as a JSON array of OpenTrackIO samples without
// timing, one a setting. `lens` holds what was measured and the focus and T-stop it was measured
// at, `static` the sensor and the lens's nominal focal length, and under custom.plateloom stands
//     "lensTable": {"geometry": true, "shading": false, "supportedRadius_mm": 17.2, "rms_px": 0.08}
// which is how a table is told from a lens track.
#pragma once

#include <filesystem>

#include "calib/lens_table.h"

namespace plateloom::io {

/// Whether the file's first sample bears the mark of a lens table. False for what is no JSON, or
/// can't be read: then whoever reads it as a track says why.
[[nodiscard]] bool isLensTable(const std::filesystem::path& path);

/// Throws InputError naming line and field: a sample without the mark, sensors that differ, D-U and
/// U-D mixed, focus or focal length given for some settings and not for others, a lens that can't
/// be used over its sensor.
[[nodiscard]] calib::LensTable readLensTable(const std::filesystem::path& path);

/// Adds what was measured to the file, which is made if it is not there; two runs that do so at
/// once take turns. A setting that is measured again replaces what was there of the same kind
/// (geometry, shading), which takes `overwrite` unless it is the same: else OutputRefused. Pixels
/// may differ: what was measured is in millimetres. Throws InputError where the file holds another
/// sensor, another shape of picture or the other direction of the model, RoomError where it can't
/// be written.
void addToLensTable(const std::filesystem::path& path, const calib::LensTable& measured,
                    bool overwrite = false);

/// The same without files. `path` is for complaints.
[[nodiscard]] calib::LensTable merged(const calib::LensTable& table,
                                      const calib::LensTable& measured,
                                      const std::filesystem::path& path);

}  // namespace plateloom::io
