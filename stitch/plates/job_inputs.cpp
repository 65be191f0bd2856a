#include "stitch/plates/job_inputs.h"

#include "io/plate_file.h"

namespace plateloom::stitch {

void addInputs(io::OutputGuard& guard, const PlateArguments& arguments) {
    guard.reads(io::expandPlates(arguments.plates, arguments.frames));
    guard.reads(arguments.lens_tracks);
    if (arguments.report) guard.reads(*arguments.report);
}

}  // namespace plateloom::stitch
