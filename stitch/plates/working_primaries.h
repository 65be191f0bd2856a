// One set of primaries for all plates of a job: what is blended has to mean the same red, green and
// blue. Plates that state other primaries are converted as they are read (PlateFile::to_working).
#pragma once

#include <string>
#include <vector>

#include "io/plate_file.h"

namespace plateloom::stitch {

struct PrimariesFound {
    std::vector<std::string> notes;     ///< what is converted
    std::vector<std::string> warnings;  ///< what had to be assumed
};

/// The set is that of `working_space` (a colour space's name), else that of the first file that
/// states any. A file that states none is taken to be in it already. Throws io::InputError for a
/// name without known primaries and for chromaticities that no light has.
PrimariesFound useOnePrimaries(const std::vector<io::PlateFile*>& files,
                               const std::string& working_space);

}  // namespace plateloom::stitch
