// A shoot as its papers describe it: plates, lens tracks and camera report laid side by side. Where
// `describePlates` refuses (a plate without a sample, a report that names what is not there) this
// goes on with the best that can be said, and tells what is wrong: on location one lost sample must
// not hide a hole.
#pragma once

#include <vector>

#include "stitch/plates/plate_set.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

struct ShootRecord {
    PlateSet set;  ///< one a file, in the order of the files
    /// One a plate: whether the track has a sample for it, rather than a neighbour's lens standing
    /// in.
    std::vector<char> has_sample;
    std::vector<Finding> findings;
};

/// `report` and `table` may be null. Throws io::InputError only where no plate at all can be
/// described.
[[nodiscard]] ShootRecord describeShoot(const std::vector<io::PlateFile>& files,
                                        const std::vector<io::LensTrack>& tracks,
                                        const io::CameraReport* report,
                                        const PlateArguments& arguments,
                                        const TableInUse* table = nullptr);

/// Gaps, doubles and steps back in the plates' timecodes.
[[nodiscard]] std::vector<Finding> timecodeFindings(const std::vector<io::PlateFile>& files);

/// What moved from plate to plate by the papers: focus, iris, focal length.
[[nodiscard]] std::vector<Finding> driftFindings(const ShootRecord& record);

}  // namespace plateloom::stitch
