// How much light each plate was given, in stops, from T-stop, shutter, sensitivity and ND.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"

namespace plateloom::stitch {

/// What is known of one plate's exposure.
struct ExposureFacts {
    std::optional<double> t_stop, f_stop, iso, shutter_s, shutter_deg, fps, nd_stops;
};

struct KnownExposure {
    std::vector<std::optional<double>> stops;  ///< all of them or none
    std::string warning;                       ///< why none, if that is worth saying
};

/// stops = log2(shutter ISO / T²) - ND. Only differences between plates mean anything, so what no
/// plate knows is taken as the same for all; what only some plates know makes them incomparable.
[[nodiscard]] KnownExposure knownExposure(const std::vector<ExposureFacts>& plates);

}  // namespace plateloom::stitch
