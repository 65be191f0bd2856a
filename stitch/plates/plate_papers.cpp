#include "stitch/plates/plate_papers.h"

#include <map>

#include "calib/said.h"
#include "io/input_error.h"
#include "stitch/plates/lens_groups.h"
#include "stitch/plates/plate_camera.h"
#include "stitch/plates/plate_exposure.h"

namespace plateloom::stitch {

namespace {

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
    void add(const std::string& warning, const io::PlateFile& plate) {
        auto [at, is_new] = plates_.try_emplace(warning);
        if (is_new) order_.push_back(warning);
        at->second.push_back(plate.name());
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
std::string lensIdentity(const Plate& plate, const PlatePapers& papers, const TableInUse* table) {
    if (table) return "table " + table->path.string();
    if (!papers.sample) return "file " + plate.file.camera;
    if (!papers.sample->camera.empty()) return "camera " + papers.sample->camera;
    // Tracks of one sample each are one camera's, split by plate.
    return papers.track.empty() ? "tracks of one sample" : "track " + papers.track;
}

void refuseFaults(const PlateSet& set, const std::vector<PlatePapers>& papers,
                  const TableInUse* table) {
    for (size_t i = 0; i < set.plates.size(); ++i) {
        const Plate& plate = set.plates[i];
        const auto fault = calib::faultOf(plate.lens, plate.sensor);
        if (!fault) continue;
        const std::string name = plate.file.name();
        if (table)
            throw io::InputError(table->path.string(),
                                 "its lens can't be used for " + name + ": " + *fault);
        if (!papers[i].sample) throw io::InputError(plate.file.where(), *fault);
        throw io::InputError(papers[i].where, "the lens of " + name + " can't be used: " + *fault);
    }
}

}  // namespace

PlateSet describePlates(const std::vector<io::PlateFile>& files,
                        const std::vector<PlatePapers>& papers, bool nd_in_report,
                        const PlateArguments& arguments, const TableInUse* table) {
    PlateSet set;
    WarningsOfPlates warnings;
    std::vector<ExposureFacts> exposures;
    std::vector<std::string> identities;
    for (size_t i = 0; i < files.size(); ++i) {
        Plate plate;
        plate.file = files[i];
        const CameraSources sources{papers[i].sample, papers[i].report, arguments.focal_mm,
                                    arguments.sensor_width_mm, table};
        for (const std::string& warning : describeCamera(sources, &plate))
            warnings.add(warning, plate.file);
        if (plate.file.pixel_aspect != 1)
            warnings.add(said("its header says that pixels are %.4g times as wide as they "
                              "are high; the lens data's sensor size in millimetres and "
                              "pixels decides, and the attribute is passed on",
                              plate.file.pixel_aspect),
                         plate.file);
        exposures.push_back(exposureFacts(plate, papers[i].sample, papers[i].report, nd_in_report));
        identities.push_back(lensIdentity(plate, papers[i], table));
        set.plates.push_back(std::move(plate));
    }
    warnings.moveTo(&set.warnings);
    refuseFaults(set, papers, table);

    groupByLens(identities, &set.plates);
    const KnownExposure exposure = knownExposure(exposures);
    for (size_t i = 0; i < files.size(); ++i) set.plates[i].exposure_stops = exposure.stops[i];
    if (!exposure.warning.empty()) set.warnings.push_back(exposure.warning);
    return set;
}

}  // namespace plateloom::stitch
