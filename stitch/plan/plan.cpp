#include "stitch/plan/plan.h"
#include "calib/said.h"

#include <cmath>
#include <cstdio>

#include "calib/frame_outline.h"
#include "calib/said.h"
#include "stitch/plan/plan_proof.h"
#include "stitch/plan/plan_search.h"

namespace plateloom::stitch {

namespace {

// What is read off a head and typed into a report; finer for long lenses.
double rounded(double deg, double tilt_step_deg) {
    const double fine = tilt_step_deg >= 0.5 ? 10 : 100;
    return std::round(deg * fine) / fine;
}

double withinHalfTurn(double deg) {
    const double turned = deg - 360 * std::ceil(deg / 360 - 0.5);
    return turned == 0 ? 0 : turned;  // no minus before a zero
}

std::vector<PlannedShot> shotsOf(const std::vector<ShotRow>& rows, double tilt_step_deg) {
    std::vector<PlannedShot> shots;
    for (size_t r = 0; r < rows.size(); ++r)
        for (const double pan : rows[r].pans_deg)
            shots.push_back({int(r),
                             {withinHalfTurn(rounded(pan, tilt_step_deg)),
                              rounded(rows[r].tilt_deg, tilt_step_deg) + 0.0, 0}});
    return shots;
}

bool holds(const PlanWish& wish, const PlanProof& proof) {
    return proof.covered && proof.least_beside >= wish.overlap &&
           proof.least_upright >= wish.overlap;
}

}  // namespace

std::optional<std::string> faultOf(const PlanWish& wish) {
    if (!(wish.overlap >= 0 && wish.overlap <= 1))
        return "the overlap has to lie between 0 and 100 %";
    if (!(wish.pan_from_deg < wish.pan_to_deg) || wish.pan_to_deg - wish.pan_from_deg > 360 + 1e-9)
        return "the pans have to span more than nothing and no more than a full turn";
    if (!(wish.tilt_from_deg < wish.tilt_to_deg) || wish.tilt_from_deg < -90 ||
        wish.tilt_to_deg > 90)
        return "the tilts have to rise, and lie between -90 and 90";
    if (const auto fault = calib::faultOf(wish.lens.lens(), wish.lens.sensor())) return fault;
    if (!calib::FrameOutline(wish.lens).seesItsAxis())
        return "the lens is shifted so far that its own axis is not in the picture";
    return std::nullopt;
}

Plan planShots(const PlanWish& wish) {
    Plan plan;
    constexpr double kMostOverlap = 0.95, kMostPlates = 5000;
    if (wish.overlap > kMostOverlap) {
        plan.why_not = said(
            "plates that overlap by %.0f %% would have to look the same way; 95 %% is "
            "the most that is planned here",
            100 * wish.overlap);
        return plan;
    }
    const calib::FrameOutline outline(wish.lens);
    const double step = tiltStep_deg(outline);
    const double about =
        (wish.pan_to_deg - wish.pan_from_deg) * (wish.tilt_to_deg - wish.tilt_from_deg) /
        (outline.across_deg() * outline.upright_deg() * (1 - wish.overlap) * (1 - wish.overlap));
    if (about > kMostPlates) {
        plan.why_not = said(
            "that would take about %.0f plates; ask for less overlap or less cover, "
            "or use a shorter lens",
            about);
        return plan;
    }
    // The search goes by coarse overlaps; where the proof finds one short, a little more is asked.
    constexpr int kMostTries = 8;
    PlanGuard guard;
    for (int attempt = 0; attempt < kMostTries; ++attempt) {
        const auto rows = searchRows(wish, guard);
        if (!rows) break;
        auto shots = shotsOf(*rows, step);
        PlanProof proof = proveShots(wish, shots);
        if (holds(wish, proof)) {
            plan.shots = std::move(shots);
            plan.rows = int(rows->size());
            plan.proof = std::move(proof);
            return plan;
        }
        const double least = std::min(proof.least_beside, proof.least_upright);
        if (least < wish.overlap) guard.overlap += std::max(0.002, wish.overlap - least + 0.001);
        if (!proof.covered) guard.cover_deg += 0.25 * step;
    }
    plan.why_not =
        "no layout of level rows was found that keeps the overlap and leaves nothing uncovered; "
        "ask "
        "for less overlap or less cover";
    return plan;
}

}  // namespace plateloom::stitch
