#include "stitch/clips/clip_report.h"

#include <algorithm>

#include "io/input_error.h"
#include "stitch/clips/clip_names.h"

namespace plateloom::stitch {

ClipReport::ClipReport(io::CameraReport report, const std::vector<io::Clip>& clips)
    : report_(std::move(report)), line_of_(clips.size(), -1), warnings_(report_.warnings) {
    std::string unmatched;
    for (size_t l = 0; l < report_.lines.size(); ++l) {
        const io::ReportLine& line = report_.lines[l];
        const std::string where = report_.path.string() + ":" + std::to_string(line.line);
        const io::Clip* named = nullptr;
        for (size_t c = 0; c < clips.size(); ++c) {
            if (!meansClip(line.file, clips[c])) continue;
            if (named)
                throw io::InputError(where, line.file + " names two clips, " + named->pattern +
                                                " and " + clips[c].pattern +
                                                "; write the folder before the name");
            named = &clips[c];
            if (line_of_[c] >= 0)
                throw io::InputError(where,
                                     line.file + " is already in line " +
                                         std::to_string(report_.lines[size_t(line_of_[c])].line) +
                                         ": a line holds for the whole clip, keep one of the two");
            line_of_[c] = int(l);
        }
        if (!named) unmatched += (unmatched.empty() ? "" : ", ") + line.file;
    }
    if (!unmatched.empty())
        warnings_.push_back(report_.path.string() +
                            ": names clips that were not given: " + unmatched);
}

const io::ReportLine* ClipReport::lineOf(int clip) const {
    const int line = line_of_[size_t(clip)];
    return line < 0 ? nullptr : &report_.lines[size_t(line)];
}

bool ClipReport::tellsNd() const {
    return std::any_of(report_.lines.begin(), report_.lines.end(),
                       [](const auto& line) { return line.nd_stops.has_value(); });
}

}  // namespace plateloom::stitch
