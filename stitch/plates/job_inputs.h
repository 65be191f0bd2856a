// What a job reads, for the rule that none of it is written over (io/output_guard.h).
#pragma once

#include "io/output_guard.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Plates, lens data and camera report. Throws io::InputError for plates that do not exist.
void addInputs(io::OutputGuard& guard, const PlateArguments& arguments);

}  // namespace plateloom::stitch
