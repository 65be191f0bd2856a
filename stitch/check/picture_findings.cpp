#include "stitch/check/picture_findings.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/median.h"
#include "calib/said.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

namespace {

Finding ofPlate(FindingKind kind, bool grave, const SurveyedPlate& plate, std::string text,
                std::string advice) {
    Finding finding{kind, grave, {plate.file}, {}, {}, std::move(text), std::move(advice)};
    if (plate.placed) {
        finding.pan_deg = plate.pose.pan_deg;
        finding.tilt_deg = plate.pose.tilt_deg;
    }
    return finding;
}

std::string reshoot(const SurveyedPlate& plate) {
    return plate.placed ? "reshoot " + inWords(plate.pose.pan_deg, plate.pose.tilt_deg)
                        : "reshoot it";
}

void addSoftPlates(Survey& survey) {
    constexpr double kSoft = 0.8;
    for (const auto& plate : survey.plates) {
        if (!plate.sharpness || *plate.sharpness > kSoft) continue;
        survey.findings.push_back(ofPlate(
            FindingKind::blur, true, plate,
            plate.file +
                said(" is soft: %.0f %% of its neighbours' fine detail", 100 * *plate.sharpness),
            reshoot(plate) + "; see to focus, and that nothing shook"));
    }
}

void addExposures(const std::vector<PictureFacts>& facts, Survey& survey) {
    std::vector<double> off;
    for (const auto& plate : survey.plates)
        if (plate.gain_stops && plate.exposure_stops && plate.placed_by == "ties")
            off.push_back(*plate.gain_stops + *plate.exposure_stops);
    const bool by_data = off.size() > 1;
    if (!by_data)
        for (const auto& plate : survey.plates)
            if (plate.gain_stops && plate.placed_by == "ties") off.push_back(*plate.gain_stops);
    if (off.size() < 3) return;
    const double usual = calib::median(off);
    constexpr double kTold_stops = 0.3, kNoted_stops = 0.6;
    for (size_t i = 0; i < survey.plates.size(); ++i) {
        const auto& plate = survey.plates[i];
        if (!plate.gain_stops || plate.placed_by != "ties") continue;
        if (by_data && (!plate.exposure_stops || !facts[i].has_own_lens)) continue;
        // A plate that has to be brought up was darker.
        const double stops = usual - *plate.gain_stops - (by_data ? *plate.exposure_stops : 0.0);
        if (std::abs(stops) < (by_data ? kTold_stops : kNoted_stops)) continue;
        survey.findings.push_back(ofPlate(
            FindingKind::exposure, by_data, plate,
            plate.file +
                said(" is %.1f stop%s %s than ", std::abs(stops),
                     std::abs(stops) >= 1.05 ? "s" : "", stops > 0 ? "brighter" : "darker") +
                (by_data ? "its lens data say" : "the others"),
            by_data ? "see whether iris, shutter, ISO or a filter moved; " + reshoot(plate) +
                          ", or note it in the camera report"
                    : "lock the exposure"));
    }
}

void addShares(Survey& survey) {
    constexpr double kClipped = 0.03, kMuchClipped = 0.25, kCrushed = 0.4, kMuchCrushed = 0.8;
    for (const auto& plate : survey.plates) {
        if (plate.clipped && *plate.clipped > kClipped)
            survey.findings.push_back(
                ofPlate(FindingKind::clipped, *plate.clipped > kMuchClipped, plate,
                        plate.file + said(": %.0f %% is clipped", 100 * *plate.clipped),
                        "close the iris or take ND on all plates, or add a darker plate here"));
        if (plate.crushed && *plate.crushed > kCrushed)
            survey.findings.push_back(
                ofPlate(FindingKind::crushed, *plate.crushed > kMuchCrushed, plate,
                        plate.file + said(": %.0f %% is black", 100 * *plate.crushed),
                        "open up on all plates, or add a brighter plate here"));
    }
}

void addRoll(Survey& survey) {
    constexpr double kLeans_deg = 3, kGrave_deg = 10;
    std::vector<std::string> leaning;
    const SurveyedPlate* worst = nullptr;
    for (const auto& plate : survey.plates) {
        constexpr double kPole_deg = 70;  // nearer to a pole roll and pan are hard to tell apart
        if (!plate.placed || std::abs(plate.pose.tilt_deg) > kPole_deg) continue;
        if (std::abs(plate.pose.roll_deg) < kLeans_deg) continue;
        leaning.push_back(plate.file);
        if (!worst || std::abs(plate.pose.roll_deg) > std::abs(worst->pose.roll_deg))
            worst = &plate;
    }
    if (!worst) return;
    Finding finding =
        ofPlate(FindingKind::roll, std::abs(worst->pose.roll_deg) > kGrave_deg, *worst,
                "the horizon leans by " + said("%.1f", std::abs(worst->pose.roll_deg)) +
                    " degrees on " + inWords(leaning),
                "level the head; a leaning frame covers less");
    finding.plates = leaning;
    survey.findings.push_back(finding);
}

// Why a plate that should hang together with the others does not.
struct Reason {
    FindingKind kind;
    std::string text;
};
Reason reasonOf(size_t plate_index, const std::vector<PictureFacts>& facts, double usual_fineness,
                const Survey& survey) {
    const auto& plate = survey.plates[plate_index];
    constexpr int kFewFeatures = 40;
    constexpr double kMost = 0.6, kSoft = 0.8;
    if (plate.clipped && *plate.clipped > kMost)
        return {FindingKind::exposure, said("%.0f %% of it is clipped", 100 * *plate.clipped)};
    if (plate.crushed && *plate.crushed > kMost)
        return {FindingKind::exposure, said("%.0f %% of it is black", 100 * *plate.crushed)};
    const bool soft =
        (plate.sharpness && *plate.sharpness < kSoft) ||
        (facts[plate_index].fineness < 0 && facts[plate_index].fineness < usual_fineness - 1);
    // A detector finds something in noise as well.
    constexpr double kBare = 0.05;
    if (facts[plate_index].features < kFewFeatures || facts[plate_index].textured < kBare)
        return soft ? Reason{FindingKind::blur, "it is too soft to tie"}
                    : Reason{FindingKind::texture,
                             "it holds too little to tie to (bare sky, water, a wall?)"};
    if (soft) return {FindingKind::blur, "it is softer than the others"};
    double most = 0;
    for (const auto& pair : survey.pairs)
        if (pair.a == int(plate_index) || pair.b == int(plate_index))
            most = std::max(most, pair.overlap);
    constexpr double kLittle = 0.08;
    if (plate.placed && most < kLittle)
        return {FindingKind::overlap, said("it shares only %.0f %% with any other", 100 * most)};
    return {FindingKind::not_tied, plate.why};
}

void tellReasons(const std::vector<PictureFacts>& facts, Survey& survey) {
    std::vector<double> fineness;
    for (size_t i = 0; i < facts.size(); ++i)
        if (facts[i].fineness != 0 && survey.plates[i].placed_by == "ties")
            fineness.push_back(facts[i].fineness);
    const double usual = calib::median(fineness);
    for (auto& finding : survey.findings) {
        if (finding.kind != FindingKind::not_tied) continue;
        const auto plate =
            std::find_if(survey.plates.begin(), survey.plates.end(),
                         [&](const auto& p) { return p.file == finding.plates.front(); });
        if (plate == survey.plates.end()) continue;
        const auto reason = reasonOf(size_t(plate - survey.plates.begin()), facts, usual, survey);
        finding.kind = reason.kind;
        finding.grave = !plate->placed || reason.kind != FindingKind::texture;
        finding.text = plate->file +
                       (plate->placed ? " does not tie and stands by its reported direction alone"
                                      : " does not tie to the others") +
                       (reason.text.empty() ? "" : ": " + reason.text);
        if (reason.kind == FindingKind::blur || reason.kind == FindingKind::exposure)
            finding.advice = reshoot(*plate);
    }
}

// A soft plate that did not tie for that reason is one finding, not two.
void dropDoubles(Survey& survey) {
    auto& findings = survey.findings;
    for (size_t i = 0; i < findings.size(); ++i)
        for (size_t j = findings.size(); --j > i;)
            if (findings[i].kind == findings[j].kind && findings[i].plates.size() == 1 &&
                findings[i].plates == findings[j].plates)
                findings.erase(findings.begin() + ptrdiff_t(j));
}

}  // namespace

void addPictureFindings(const std::vector<PictureFacts>& facts, Survey& survey) {
    tellReasons(facts, survey);
    addSoftPlates(survey);
    addExposures(facts, survey);
    addShares(survey);
    addRoll(survey);
    dropDoubles(survey);
}

void addParallaxFinding(double parallax_px, double offset_by_distance,
                        std::optional<double> nearest_m, Survey& survey) {
    Survey::HeadOffset offset;
    offset.parallax_px = parallax_px;
    offset.nearest_m = nearest_m;
    if (nearest_m) offset.offset_mm = 1000 * offset_by_distance * *nearest_m;
    survey.head_offset = offset;
    const bool before = offset_by_distance > 0;
    std::string text = said(
        "the head does not turn about the entrance pupil: near things move by "
        "%.1f pixels between neighbours",
        parallax_px);
    text += nearest_m ? said("; the pupil stands about %.0f mm %s the axis",
                             std::abs(*offset.offset_mm), before ? "before" : "behind")
                      : said(
                            "; the pupil stands %s the axis, by %.1f mm for each metre to the "
                            "nearest thing (say --nearest M)",
                            before ? "before" : "behind", 1000 * std::abs(offset_by_distance));
    survey.findings.push_back({FindingKind::parallax,
                               true,
                               {},
                               {},
                               {},
                               text,
                               before ? "slide the camera back on the head, and shoot again"
                                      : "slide the camera forward on the head, and shoot again"});
    // That such plates disagree is the same fault, and the same cure.
    for (auto& finding : survey.findings) {
        if (finding.kind != FindingKind::not_tied) continue;
        finding.grave = false;
        finding.advice = "what is near moved with the head: see the entrance pupil first";
    }
}

}  // namespace plateloom::stitch
