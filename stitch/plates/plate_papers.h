// Plates described from papers that are laid beside them already: for each its lens sample and its
// line of the camera report. Who lays them there (plate_set.h for stills, stitch/clips/ for clips)
// knows which is whose.
#pragma once

#include <string>
#include <vector>

#include "io/lens_track.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// What is there of one plate; null where there is nothing.
struct PlatePapers {
    const io::LensSample* sample = nullptr;
    std::string where;  ///< the sample's place, for complaints
    std::string track;  ///< "" for a track of this one sample: such tracks are one camera's
    const io::ReportLine* report = nullptr;
};

/// One plate a file, grouped by lens, with known exposures where all have them. `nd_in_report`: a
/// line of the report that leaves ND empty says that there was none. Throws io::InputError for a
/// lens that can't be used on its plate and for rings that the table needs and nobody tells.
[[nodiscard]] PlateSet describePlates(const std::vector<io::PlateFile>& files,
                                      const std::vector<PlatePapers>& papers, bool nd_in_report,
                                      const PlateArguments& arguments, const TableInUse* table);

}  // namespace plateloom::stitch
