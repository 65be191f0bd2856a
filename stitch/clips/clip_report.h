// A camera report's lines beside the clips of a take: a line holds for the whole clip.
#pragma once

#include <string>
#include <vector>

#include "io/clip.h"
#include "io/lens_track.h"

namespace plateloom::stitch {

class ClipReport {
public:
    /// Throws io::InputError for a line that names two clips, and for two lines of one clip.
    ClipReport(io::CameraReport report, const std::vector<io::Clip>& clips);

    /// Null where the report has none.
    [[nodiscard]] const io::ReportLine* lineOf(int clip) const;
    /// Some line says ND: one that leaves it empty then says that there was none.
    [[nodiscard]] bool tellsNd() const;
    /// The report's own, and lines that name no clip.
    [[nodiscard]] const std::vector<std::string>& warnings() const { return warnings_; }

private:
    io::CameraReport report_;
    std::vector<int> line_of_;  // one a clip; -1: none
    std::vector<std::string> warnings_;
};

}  // namespace plateloom::stitch
