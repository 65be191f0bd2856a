#include "stitch/plates/plate_set.h"

#include <algorithm>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/plate_samples.h"
#include "stitch/plates/plate_papers.h"

namespace plateloom::stitch {

namespace {

// One report line a plate, or null. Lines that name no plate are warned of; two lines for one plate
// and one line for two plates are refused.
std::vector<const io::ReportLine*> matchReport(const std::vector<io::PlateFile>& files,
                                               const io::CameraReport& report, PlateSet* set) {
    std::vector<const io::ReportLine*> matched(files.size(), nullptr);
    std::string unmatched;
    for (const io::ReportLine& line : report.lines) {
        const std::string where = report.path.string() + ":" + std::to_string(line.line);
        const auto named = platesNamed(line.file, files);
        if (named.size() > 1)
            throw io::InputError(
                where, line.file + " names two plates, " + files[named[0]].path.string() + " and " +
                           files[named[1]].path.string() + "; write the folder before the name");
        for (const size_t i : named) {
            if (matched[i])
                throw io::InputError(where, line.file + " is already in line " +
                                                std::to_string(matched[i]->line) +
                                                "; keep one of the two");
            matched[i] = &line;
        }
        if (named.empty()) unmatched += (unmatched.empty() ? "" : ", ") + line.file;
    }
    if (!unmatched.empty())
        set->warnings.push_back(report.path.string() +
                                ": names plates that were not given: " + unmatched);
    return matched;
}

}  // namespace

std::vector<size_t> platesNamed(const std::string& reported,
                                const std::vector<io::PlateFile>& files) {
    const std::filesystem::path wanted(io::lowered(reported));
    const auto tail = wanted.lexically_normal();
    std::vector<size_t> exact, proxies;
    for (size_t i = 0; i < files.size(); ++i) {
        const std::filesystem::path path(io::lowered(files[i].path.generic_string()));
        const auto whole = path.lexically_normal();
        const auto ends = [](const std::filesystem::path& all, const std::filesystem::path& end) {
            const std::string a = all.generic_string(), e = end.generic_string();
            return a == e || a.ends_with("/" + e);
        };
        const bool is_stem = !wanted.has_parent_path() && wanted == path.stem();
        if (ends(whole, tail) || is_stem)
            exact.push_back(i);
        else if (io::isPictureName(wanted) &&
                 ends(whole.parent_path() / whole.stem(), tail.parent_path() / tail.stem()))
            proxies.push_back(i);
    }
    return exact.empty() ? proxies : exact;
}

PlateSet describePlates(const std::vector<io::PlateFile>& files,
                        const std::vector<io::LensTrack>& tracks, const io::CameraReport* report,
                        const PlateArguments& arguments, const TableInUse* table) {
    PlateSet set;
    if (table && !files.empty()) set.notes.push_back(saidOf(*table));
    std::optional<io::PlateSamples> tied;
    if (!tracks.empty() && !files.empty()) {
        for (const io::LensTrack& track : tracks)
            set.warnings.insert(set.warnings.end(), track.warnings.begin(), track.warnings.end());
        tied = io::tieSamples(files, tracks, arguments.one_shot);
        set.notes.push_back(tied->said);
    }
    std::vector<const io::ReportLine*> lines(files.size(), nullptr);
    bool nd_in_report = false;
    if (report) {
        set.warnings.insert(set.warnings.end(), report->warnings.begin(), report->warnings.end());
        lines = matchReport(files, *report, &set);
        for (const io::ReportLine& line : report->lines) nd_in_report |= line.nd_stops.has_value();
    }

    std::vector<PlatePapers> papers(files.size());
    for (size_t i = 0; i < files.size(); ++i) {
        papers[i].report = lines[i];
        if (!tied) continue;
        const io::LensTrack& track = tracks[size_t(tied->track[i])];
        papers[i].sample = tied->sample[i];
        papers[i].where = io::whereIs(track, *tied->sample[i]);
        if (track.samples.size() > 1) papers[i].track = track.path.string();
    }
    PlateSet described = describePlates(files, papers, nd_in_report, arguments, table);
    set.plates = std::move(described.plates);
    set.warnings.insert(set.warnings.end(), described.warnings.begin(), described.warnings.end());
    return set;
}

std::vector<std::string> unknownGlass(const PlateSet& set) {
    std::vector<std::string> lines;
    const auto tell = [&](bool Plate::*known, const std::string& what) {
        const Plate* first = nullptr;
        size_t count = 0;
        for (const auto& plate : set.plates) {
            if (plate.*known) continue;
            if (!first) first = &plate;
            ++count;
        }
        if (!first) return;
        const std::string name = first->file.path.filename().string();
        lines.push_back(count == 1 ? name + ": its lens data has no " + what
                                   : std::to_string(count) + " plates, the first of them " + name +
                                         ": their lens data has no " + what);
    };
    tell(&Plate::distortion_known, "distortion");
    tell(&Plate::shading_known, "exposure falloff");
    return lines;
}

}  // namespace plateloom::stitch
