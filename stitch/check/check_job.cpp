#include "stitch/check/check_job.h"

#include <tbb/global_control.h>

#include <algorithm>
#include <map>

#include "io/input_error.h"
#include "stitch/check/arrived_plates.h"
#include "stitch/check/head_offset.h"
#include "stitch/check/picture_findings.h"
#include "stitch/check/sharpness.h"
#include "stitch/check/shoot_record.h"
#include "stitch/compose/light_balance.h"
#include "stitch/compose/stitch_job.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/cameras.h"
#include "stitch/plates/light_store.h"
#include "stitch/survey/cover_findings.h"
#include "stitch/ties/solve_memory.h"

namespace fs = std::filesystem;

namespace plateloom::stitch {

namespace {

// Enough to tie by; a check is about degrees, not about hundredths of a pixel.
constexpr int kFeatures = 1200;
constexpr size_t kStoreBound_bytes = size_t(256) << 20, kLightBound_bytes = size_t(192) << 20;

bool sameCamera(const Plate& a, const Plate& b) {
    return a.lens.focal_mm == b.lens.focal_mm && a.sensor.width_mm == b.sensor.width_mm &&
           a.sensor.width_px == b.sensor.width_px &&
           a.lens.distortion.radial == b.lens.distortion.radial &&
           a.lens.distortion.direction == b.lens.distortion.direction &&
           a.lens.shading.a1 == b.lens.shading.a1 && a.lens.shading.a2 == b.lens.shading.a2;
}

// From pixels of the small plates to pixels of the files.
Solve atFullSize(const Solve& small, const std::vector<Plate>& plates) {
    Solve full = small;
    std::vector<double> scale(plates.size(), 1);
    for (size_t i = 0; i < plates.size(); ++i) {
        scale[i] = double(plates[i].file.width) / plates[i].sensor.width_px;
        auto& plate = full.plates[i];
        plate.sensor.width_px = plates[i].file.width;
        plate.sensor.height_px = plates[i].file.height;
        plate.rms_px *= scale[i];
        plate.sigma_px *= scale[i];
    }
    const auto enlarge = [&](Tie& tie) {
        tie.px_a *= scale[size_t(tie.a)];
        tie.px_b *= scale[size_t(tie.b)];
        tie.sigma_px *= scale[size_t(tie.b)];
    };
    for (auto& tie : full.ties) enlarge(tie);
    for (auto& tie : full.refused) enlarge(tie);
    for (size_t t = 0; t < full.residual_px.size(); ++t)
        full.residual_px[t] *= scale[size_t(full.ties[t].b)];
    full.rms_px *= *std::max_element(scale.begin(), scale.end());
    return full;
}

// The survey's plates in another order, with all that points at them.
void reorder(Survey& survey, const std::vector<int>& order) {
    std::vector<int> place(order.size());
    std::vector<SurveyedPlate> plates;
    for (size_t i = 0; i < order.size(); ++i) {
        place[size_t(order[i])] = int(i);
        plates.push_back(std::move(survey.plates[size_t(order[i])]));
        plates.back().number = int(i) + 1;
    }
    survey.plates = std::move(plates);
    for (auto& pair : survey.pairs) {
        pair.a = place[size_t(pair.a)];
        pair.b = place[size_t(pair.b)];
        if (pair.a > pair.b) std::swap(pair.a, pair.b);
    }
    for (auto& residual : survey.residuals) residual.plate = place[size_t(residual.plate)];
}

// Reading first, then the solve's own stages (whose reading was from memory), then the rest.
std::vector<StageTime> stagesOf(const std::vector<StageTime>& own,
                                const std::vector<StageTime>& solve) {
    std::vector<StageTime> stages(own.begin(), own.begin() + 1);
    for (const auto& stage : solve)
        if (stage.stage != "read") stages.push_back(stage);
    stages.insert(stages.end(), own.begin() + 1, own.end());
    return stages;
}

}  // namespace

struct Check::State {
    explicit State(CheckRequest r)
        : request(std::move(r)), arrived(request.plates, request.movie_frames) {}

    CheckRequest request;
    LensData lens;
    std::optional<io::CameraReport> report;
    ArrivedPlates arrived;
    SolveMemory memory;
    Small small;
    std::unique_ptr<PlateStore> store;

    [[nodiscard]] ShootRecord describe();
    void solve(const ShootRecord& record, const Progress& progress);
    void addPictures(const ShootRecord& record, Survey& survey) const;
    void addHeadOffset(Survey& survey) const;
    void addPapers(const ShootRecord& record, Survey& survey) const;
    void addDamaged(Survey& survey) const;
};

// Small plates with all that the papers say of them. Where the papers now say something else of a
// plate that was known, what was found by the old word is forgotten.
ShootRecord Check::State::describe() {
    std::vector<io::PlateFile> files;
    for (const auto& plate : arrived.whole()) files.push_back(plate.file);
    ShootRecord record = request.describe
                             ? request.describe(files)
                             : describeShoot(files, lens.tracks, report ? &*report : nullptr,
                                             request.plates, lens.tableOrNull());
    std::vector<Plate> described = record.set.plates;
    for (auto& plate : described) {
        const auto size =
            reducedSize(plate.file.width, plate.file.height, ArrivedPlates::kSmall_px);
        plate.sensor.width_px = size.width;
        plate.sensor.height_px = size.height;
    }
    for (size_t i = 0; i < std::min(small.plates.size(), described.size()); ++i)
        if (!sameCamera(small.plates[i], described[i])) memory = {};
    small.plates = std::move(described);
    return record;
}

void Check::State::solve(const ShootRecord& record, const Progress& progress) {
    store = std::make_unique<PlateStore>([this](int plate) { return arrived.smallPixels(plate); },
                                         kStoreBound_bytes);
    SolveSettings settings;
    settings.features = kFeatures;
    settings.most_passes = 1;
    settings.memory = &memory;
    PlateSet set = record.set;
    set.plates = small.plates;
    small.solve = solvePlates(set, *store, settings, progress);
    // Where the lens is unknown what was found of its light is told by the job, not on location.
    (void)balanceLight(small.plates, *store, small.solve.plates);
}

// Sharpness, shares of clipped and black, and what follows.
void Check::State::addPictures(const ShootRecord& record, Survey& survey) const {
    const auto& plates = arrived.whole();
    const auto placed = placedPlates(small.solve.plates);
    std::vector<const DetailCells*> detail;
    std::map<int, size_t> place;
    for (size_t i = 0; i < placed.size(); ++i) {
        detail.push_back(&plates[size_t(placed[i].plate)].study.detail);
        place[placed[i].plate] = i;
    }
    std::vector<std::pair<size_t, size_t>> pairs;
    constexpr double kLeastOverlap = 0.02;
    for (const auto& pair : survey.pairs)
        if (pair.overlap >= kLeastOverlap) pairs.emplace_back(place[pair.a], place[pair.b]);
    const auto sharpness = sharpnessOf(placed, detail, pairs);
    for (size_t i = 0; i < placed.size(); ++i)
        survey.plates[size_t(placed[i].plate)].sharpness = sharpness[i];

    std::vector<PictureFacts> facts(plates.size());
    for (size_t i = 0; i < plates.size(); ++i) {
        const PlateStudy& study = plates[i].study;
        survey.plates[i].clipped = study.clipped;
        survey.plates[i].crushed = study.crushed;
        survey.plates[i].has_sample = record.has_sample[i] != 0;
        facts[i] = {small.solve.features[i], study.fineness, study.textured,
                    lens.tracks.empty() || record.has_sample[i]};
    }
    addPictureFindings(facts, survey);
}

void Check::State::addHeadOffset(Survey& survey) const {
    // Only lenses that are known leave the head to blame.
    if (!request.one_camera || !std::all_of(small.plates.begin(), small.plates.end(), lensIsKnown))
        return;
    auto placed = placedPlates(small.solve.plates);
    std::erase_if(placed, [&](const PlacedPlate& plate) {
        return small.solve.plates[size_t(plate.plate)].placed_by != "ties";
    });
    // As the papers have them: things at one distance all round look like another focal length.
    for (auto& plate : placed) {
        const Plate& known = small.plates[size_t(plate.plate)];
        plate.lens = calib::LensMap(known.lens, known.sensor);
    }
    auto ties = small.solve.ties;
    ties.insert(ties.end(), small.solve.refused.begin(), small.solve.refused.end());
    LightStore lights(small.plates, *store, kLightBound_bytes);
    const auto found = findHeadOffset(placed, ties, lights);
    if (!found) return;
    double scale = 1;
    for (const auto& plate : small.plates)
        scale = std::max(scale, double(plate.file.width) / plate.sensor.width_px);
    for (auto& pair : survey.pairs)
        if (const auto at = found->of_pair_px.find({pair.a, pair.b}); at != found->of_pair_px.end())
            pair.parallax_px = scale * at->second;
    if (found->stands_out)
        addParallaxFinding(scale * found->parallax_px, found->offset_by_distance, request.nearest_m,
                           survey);
}

void Check::State::addPapers(const ShootRecord& record, Survey& survey) const {
    auto& findings = survey.findings;
    const auto add = [&](const std::vector<Finding>& more) {
        findings.insert(findings.end(), more.begin(), more.end());
    };
    for (const auto& [copy, of] : arrived.copies()) {
        const std::string name = copy.filename().string();
        findings.push_back({FindingKind::duplicate,
                            false,
                            {name},
                            {},
                            {},
                            name + " is the same picture as " + of.filename().string(),
                            "see whether a plate was overwritten by a copy; it counts once"});
    }
    add(record.findings);
    if (request.one_camera) add(driftFindings(record));
    std::vector<io::PlateFile> in_order;
    for (const int plate : arrived.inOrder())
        in_order.push_back(arrived.whole()[size_t(plate)].file);
    add(timecodeFindings(in_order));
    survey.notes.insert(survey.notes.begin(), record.set.notes.begin(), record.set.notes.end());
    survey.warnings = record.set.warnings;
    for (const auto& file : arrived.noPlates())
        survey.warnings.push_back(file.name() + ": left out, it is " + file.not_a_plate +
                                  ", not a plate");
}

void Check::State::addDamaged(Survey& survey) const {
    for (const auto& plate : arrived.damaged()) {
        SurveyedPlate out;
        out.file = plate.path.filename().string();
        out.why = plate.fault;
        out.number = int(survey.plates.size()) + 1;
        survey.plates.push_back(out);
        survey.findings.push_back(
            {FindingKind::damaged,
             true,
             {out.file},
             {},
             {},
             plate.just_written ? out.file + " is not whole: it was written to a moment ago"
                                : plate.fault,
             plate.just_written ? "check again when the copy is done, or copy it anew"
                                : "copy it again from the card, or shoot it again"});
    }
}

Check::Check(CheckRequest request) : state_(std::make_unique<State>(std::move(request))) {
    const auto& plates = state_->request.plates;
    state_->lens = readLensData(plates.lens_tracks);
    if (plates.report) state_->report = io::readCameraReport(*plates.report);
}

Check::~Check() = default;

const std::vector<fs::path>& Check::waitingFor() const {
    return state_->arrived.waitingFor();
}
const Check::Small& Check::small() const {
    return state_->small;
}
PlateStore& Check::store() {
    return *state_->store;
}

Survey Check::look(const Progress& progress, bool waits) {
    State& state = *state_;
    std::unique_ptr<tbb::global_control> limit;
    if (state.request.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(state.request.threads));
    StageClock clock(progress);
    clock.begin("read");
    const size_t before = state.arrived.whole().size();
    if (!state.arrived.update(waits)) state.memory = {};
    const auto& plates = state.arrived.whole();
    for (size_t i = plates.size() > before ? before : 0; i < plates.size(); ++i)
        clock.add(double(plates[i].file.width) * plates[i].file.height);
    clock.end();

    Survey survey;
    ShootRecord record;
    if (!plates.empty()) {
        record = state.describe();
        state.solve(record, progress);
        clock.begin("compare");
        survey = surveyOf(state.small.plates, atFullSize(state.small.solve, state.small.plates),
                          state.request.cover);
        state.addPictures(record, survey);
        clock.begin("parallax");
        state.addHeadOffset(survey);
        clock.end();
        const auto& order = state.arrived.inOrder();
        reorder(survey, order);
        state.small.survey_plate.assign(order.size(), 0);
        for (size_t i = 0; i < order.size(); ++i)
            state.small.survey_plate[size_t(order[i])] = int(i);
    } else {
        state.small = {};
    }
    state.addPapers(record, survey);
    state.addDamaged(survey);
    sortFindings(survey.findings);
    survey.command = "check";
    survey.verdict = verdictOf(survey);
    survey.status = std::any_of(survey.findings.begin(), survey.findings.end(),
                                [](const Finding& finding) { return finding.grave; });
    survey.stages = stagesOf(clock.times(), state.small.solve.times);
    return survey;
}

}  // namespace plateloom::stitch
