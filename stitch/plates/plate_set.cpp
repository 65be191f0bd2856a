#include "stitch/plates/plate_set.h"

#include <algorithm>
#include <cctype>
#include <map>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/plate_samples.h"
#include "stitch/plates/lens_groups.h"
#include "stitch/plates/plate_camera.h"
#include "stitch/plates/plate_exposure.h"

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

ExposureFacts exposureFacts(const Plate& plate, const io::LensSample* sample,
                            const io::ReportLine* report, bool nd_in_report) {
    ExposureFacts facts;
    facts.t_stop = plate.lens.t_stop;
    facts.f_stop = plate.lens.f_stop;
    facts.iso = plate.file.iso;
    facts.shutter_s = plate.file.shutter_s;
    facts.shutter_deg = plate.file.shutter_deg;
    if (plate.file.frame_rate) facts.fps = plate.file.frame_rate->perSecond();
    if (sample) {
        if (sample->iso) facts.iso = sample->iso;
        if (sample->shutter_deg) facts.shutter_deg = sample->shutter_deg, facts.shutter_s.reset();
        if (sample->frame_rate && !facts.fps) facts.fps = sample->frame_rate->perSecond();
    }
    if (report) {
        if (report->iso) facts.iso = report->iso;
        if (report->shutter_deg) facts.shutter_deg = report->shutter_deg, facts.shutter_s.reset();
        // A line of the report that leaves ND empty says that no filter was in (common practice).
        if (nd_in_report) facts.nd_stops = report->nd_stops.value_or(0);
    }
    return facts;
}

// The same warning about many plates is said once.
class WarningsOfPlates {
public:
    void add(const std::string& warning, const std::filesystem::path& plate) {
        auto [at, is_new] = plates_.try_emplace(warning);
        if (is_new) order_.push_back(warning);
        at->second.push_back(plate.filename().string());
    }
    void moveTo(std::vector<std::string>* out) const {
        for (const std::string& warning : order_) {
            const auto& names = plates_.at(warning);
            const std::string others =
                names.size() > 1 ? " and " + std::to_string(names.size() - 1) + " more" : "";
            out->push_back(names.front() + others + ": " + warning);
        }
    }

private:
    std::map<std::string, std::vector<std::string>> plates_;
    std::vector<std::string> order_;
};

// Whose lens a plate was taken through, as far as names go.
std::string lensIdentity(const Plate& plate, const io::LensSample* sample,
                         const io::LensTrack* track, const TableInUse* table) {
    if (table) return "table " + table->path.string();
    if (!sample) return "file " + plate.file.camera;
    if (!sample->camera.empty()) return "camera " + sample->camera;
    // Tracks of one sample each are one camera's, split by plate.
    return track->samples.size() > 1 ? "track " + track->path.string() : "tracks of one sample";
}

void refuseFaults(const PlateSet& set, const io::PlateSamples* tied,
                  const std::vector<io::LensTrack>& tracks, const TableInUse* table) {
    for (size_t i = 0; i < set.plates.size(); ++i) {
        const Plate& plate = set.plates[i];
        const auto fault = calib::faultOf(plate.lens, plate.sensor);
        if (!fault) continue;
        const std::string name = plate.file.path.filename().string();
        if (table)
            throw io::InputError(table->path.string(),
                                 "its lens can't be used for " + name + ": " + *fault);
        if (!tied) throw io::InputError(plate.file.path.string(), *fault);
        throw io::InputError(io::whereIs(tracks[size_t(tied->track[i])], *tied->sample[i]),
                             "the lens of " + name + " can't be used: " + *fault);
    }
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

    WarningsOfPlates warnings;
    std::vector<ExposureFacts> exposures;
    std::vector<std::string> identities;
    for (size_t i = 0; i < files.size(); ++i) {
        const io::LensSample* sample = tied ? tied->sample[i] : nullptr;
        Plate plate;
        plate.file = files[i];
        const CameraSources sources{sample, lines[i], arguments.focal_mm, arguments.sensor_width_mm,
                                    table};
        for (const std::string& warning : describeCamera(sources, &plate))
            warnings.add(warning, plate.file.path);
        exposures.push_back(exposureFacts(plate, sample, lines[i], nd_in_report));
        identities.push_back(
            lensIdentity(plate, sample, tied ? &tracks[size_t(tied->track[i])] : nullptr, table));
        set.plates.push_back(std::move(plate));
    }
    warnings.moveTo(&set.warnings);
    refuseFaults(set, tied ? &*tied : nullptr, tracks, table);

    groupByLens(identities, &set.plates);
    const KnownExposure exposure = knownExposure(exposures);
    for (size_t i = 0; i < files.size(); ++i) set.plates[i].exposure_stops = exposure.stops[i];
    if (!exposure.warning.empty()) set.warnings.push_back(exposure.warning);
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
