// What is known of one plate's camera before the solve: its lens sample first, then what a person
// said (command line, camera report), then the file's own metadata; what nobody says is guessed and
// marked as a guess by its uncertainty. Of the lens itself, what the sample leaves out comes from
// the lens table, looked up at the rings' places so found.
#pragma once

#include <optional>
#include <string>

#include "io/lens_track.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Where the facts about one plate come from; whatever is absent is null or empty.
struct CameraSources {
    const io::LensSample* sample = nullptr;
    const io::ReportLine* report = nullptr;
    std::optional<double> focal_mm, sensor_width_mm;  ///< said on the command line
    const TableInUse* table = nullptr;
};

/// Sides of the sensor in 35 mm equivalent terms: the equivalence is by the diagonal, 43.27 mm
/// (CIPA DCG-001), whatever the picture's shape.
struct Equivalent35 {
    double width_mm = 0, height_mm = 0;
};
[[nodiscard]] Equivalent35 equivalent35(int width_px, int height_px);

/// `plate.file` in; sensor, lens, what is known of it, its uncertainty and the pose out. Each
/// returned sentence is a warning about this plate. Throws io::InputError where the lens table
/// depends on a ring that nobody tells of.
std::vector<std::string> describeCamera(const CameraSources& sources, Plate* plate);

}  // namespace plateloom::stitch
