#include "stitch/survey/survey.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "stitch/compose/stitch_job.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

namespace {

constexpr int kOutlineASide = 10;
constexpr int kMapWidth = 360, kHoleMapWidth = 2400;
constexpr size_t kMostResiduals = 2000;

double stopsOf(const std::array<double, 3>& gain) {
    return std::log2(gain[0] * gain[1] * gain[2]) / 3;
}

SurveyedPlate plateOf(const io::SolvedPlate& solved, const Plate* plate, int number) {
    SurveyedPlate out;
    out.file = solved.file;
    out.number = number;
    out.placed = solved.placed;
    out.placed_by = solved.placed_by;
    out.why = solved.why_not;
    out.pose = solved.pose;
    out.focal_mm = solved.lens.focal_mm;
    out.focus_m = solved.lens.focus_m;
    out.t_stop = solved.lens.t_stop;
    out.f_stop = solved.lens.f_stop;
    if (solved.placed) out.gain_stops = stopsOf(solved.gain);
    out.ties = solved.ties;
    out.rms_px = solved.rms_px;
    out.sigma_px = solved.sigma_px;
    out.width_px = solved.sensor.width_px;
    out.height_px = solved.sensor.height_px;
    if (!plate) return out;
    out.iso = plate->file.iso;
    out.exposure_stops = plate->exposure_stops;
    out.has_sample = plate->distortion_known;
    out.width_px = plate->file.width;
    out.height_px = plate->file.height;
    if (const auto timecode = plate->file.timecode()) out.timecode = io::toString(*timecode);
    return out;
}

// Pairs that share something of the sphere, with what their ties say.
std::vector<SurveyedPair> pairsOf(const std::vector<PlacedPlate>& placed,
                                  const std::vector<SphereFrame>& frames, const Solve& solve) {
    struct Ties {
        int count = 0;
        double sum2 = 0;
    };
    std::map<std::pair<int, int>, Ties> ties;
    for (size_t t = 0; t < solve.ties.size(); ++t) {
        Ties& of_pair = ties[{solve.ties[t].a, solve.ties[t].b}];
        ++of_pair.count;
        if (t < solve.residual_px.size())
            of_pair.sum2 += solve.residual_px[t] * solve.residual_px[t];
    }
    std::vector<std::vector<SurveyedPair>> of_plate(placed.size());
    tbb::parallel_for(size_t(0), placed.size(), [&](size_t i) {
        for (size_t j = i + 1; j < placed.size(); ++j) {
            SurveyedPair pair{
                placed[i].plate, placed[j].plate, overlapOf(frames[i], frames[j]), 0, 0, {}};
            if (pair.overlap <= 0) continue;
            if (pair.a > pair.b) std::swap(pair.a, pair.b);
            of_plate[i].push_back(pair);
        }
    });
    std::vector<SurveyedPair> pairs;
    for (auto& some : of_plate)
        for (auto& pair : some) {
            const auto found = ties.find({pair.a, pair.b});
            if (found != ties.end()) {
                pair.ties = found->second.count;
                pair.rms_px = std::sqrt(found->second.sum2 / found->second.count);
            }
            pairs.push_back(pair);
        }
    return pairs;
}

// Each tie's residual as plate b sees it; evenly thinned.
std::vector<SurveyedResidual> residualsOf(const std::vector<PlacedPlate>& placed,
                                          const Solve& solve) {
    std::map<int, const PlacedPlate*> of_plate;
    for (const auto& plate : placed) of_plate[plate.plate] = &plate;
    std::vector<SurveyedResidual> residuals;
    const size_t all = solve.ties.size(), kept = std::min(all, kMostResiduals);
    for (size_t i = 0; i < kept; ++i) {
        const Tie& tie = solve.ties[i * all / kept];
        const auto a = of_plate.find(tie.a), b = of_plate.find(tie.b);
        if (a == of_plate.end() || b == of_plate.end()) continue;
        const auto ray = a->second->lens.rayFromRecorded(tie.px_a);
        if (!ray) continue;
        const auto px = b->second->lens.recordedFromRay(b->second->worldFromCamera.transpose() *
                                                        (a->second->worldFromCamera * *ray));
        if (!px) continue;
        const auto& sensor = b->second->lens.sensor();
        residuals.push_back({tie.b, tie.px_b.x() / sensor.width_px, tie.px_b.y() / sensor.height_px,
                             px->x() - tie.px_b.x(), px->y() - tie.px_b.y()});
    }
    return residuals;
}

}  // namespace

Survey surveyOf(const std::vector<Plate>& plates, const Solve& solve, const CoverRequest& request) {
    Survey survey;
    for (size_t i = 0; i < solve.plates.size(); ++i)
        survey.plates.push_back(
            plateOf(solve.plates[i], i < plates.size() ? &plates[i] : nullptr, int(i) + 1));

    const auto placed = placedPlates(solve.plates);
    const auto frames = sphereFrames(placed);
    for (size_t i = 0; i < placed.size(); ++i)
        survey.plates[size_t(placed[i].plate)].outline = frames[i].outline(kOutlineASide);
    survey.pairs = pairsOf(placed, frames, solve);
    survey.residuals = residualsOf(placed, solve);

    const auto rows = plateRows(frames);
    const WantedCover wanted = wantedCover(frames, rows, request);
    const CoverMap fine = coverMap(frames, kHoleMapWidth);
    survey.holes = holesIn(fine, wanted);
    survey.cover.wanted = wanted.inWords();
    survey.cover.band_low_deg = wanted.low_deg;
    survey.cover.band_high_deg = wanted.high_deg;
    survey.cover.covered_share = coveredShare(fine);
    survey.cover.map = coverMap(frames, kMapWidth);

    survey.notes = solve.notes;
    survey.warnings = solve.warnings;
    survey.stages = solve.times;
    addCoverFindings(placed, rows, survey);
    survey.verdict = verdictOf(survey);
    return survey;
}

}  // namespace plateloom::stitch
