#include "stitch/solve/solve_report.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "calib/angle.h"
#include "calib/said.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;

std::string nameOf(const Cameras& cameras, int plate) {
    return cameras.plates[plate].file.path.filename().string();
}

std::string namesOf(const Cameras& cameras, const std::vector<int>& plates) {
    constexpr size_t kMost = 4;
    std::string names;
    for (size_t i = 0; i < plates.size() && i < kMost; ++i)
        names += (i ? ", " : "") + nameOf(cameras, plates[i]);
    if (plates.size() > kMost) names += " and " + std::to_string(plates.size() - kMost) + " more";
    return names;
}

}  // namespace

std::vector<std::vector<int>> groupsOfParts(const std::vector<int>& part) {
    std::map<int, std::vector<int>> members;
    for (size_t p = 0; p < part.size(); ++p)
        if (part[p] >= 0) members[part[p]].push_back(int(p));
    std::vector<std::vector<int>> groups;
    for (auto& [number, plates] : members)
        if (plates.size() > 1) groups.push_back(std::move(plates));
    std::stable_sort(groups.begin(), groups.end(),
                     [](const auto& x, const auto& y) { return x.size() > y.size(); });
    return groups;
}

std::string whyNotPlaced(int plate, const Cameras& cameras,
                         const std::vector<PlateFeatures>& features, const FirstLook& look,
                         const std::vector<std::vector<int>>& groups) {
    constexpr size_t kFewFeatures = 40;
    for (size_t g = 1; g < groups.size(); ++g)
        if (std::count(groups[g].begin(), groups[g].end(), plate))
            return "does not tie to the others (group of " + std::to_string(groups[g].size()) +
                   ": " + namesOf(cameras, groups[g]) + ")";
    const size_t found = features[plate].recorded_px.size();
    if (found < kFewFeatures)
        return "holds too little to tie to: " + std::to_string(found) +
               " features (bare sky, water, black?)";
    std::vector<int> others;
    for (const auto& h : look.hypotheses)
        if (h.a == plate || h.b == plate) others.push_back(h.a == plate ? h.b : h.a);
    if (others.empty()) return "no other plate was found to overlap it";
    std::sort(others.begin(), others.end());
    others.erase(std::unique(others.begin(), others.end()), others.end());
    return "its matches (with " + namesOf(cameras, others) + ") disagree with the other plates";
}

std::vector<io::SolvedPlate> solvedPlates(const Cameras& cameras, const TieRound& round,
                                          const std::vector<char>& by_pose) {
    std::vector<int> ties(cameras.plates.size(), 0);
    std::vector<double> sum2(cameras.plates.size(), 0);
    for (size_t t = 0; t < round.ties.size(); ++t)
        for (const int p : {round.ties[t].a, round.ties[t].b}) {
            ++ties[p];
            sum2[p] += round.residual_px[t] * round.residual_px[t];
        }
    double panorama_px_per_rad = 0;
    for (int p = 0; p < cameras.size(); ++p)
        if (cameras.worldFromCamera[p])
            panorama_px_per_rad =
                std::max(panorama_px_per_rad,
                         calib::LensMap(cameras.lens(p), cameras.plates[p].sensor).focal_px());

    std::vector<io::SolvedPlate> solved(cameras.plates.size());
    for (int p = 0; p < cameras.size(); ++p) {
        const Plate& plate = cameras.plates[p];
        io::SolvedPlate& out = solved[p];
        out.file = nameOf(cameras, p);
        out.lens = cameras.lens(p);
        out.sensor = plate.sensor;
        out.timecode_word = plate.file.timecode_word;
        out.frame_rate = plate.file.frame_rate;
        if (!cameras.worldFromCamera[p]) continue;
        out.placed = true;
        out.placed_by = by_pose[p] ? "pose" : "ties";
        out.pose = calib::panTiltRoll(*cameras.worldFromCamera[p]);
        out.ties = ties[p];
        out.rms_px = ties[p] ? std::sqrt(sum2[p] / ties[p]) : 0;
        const double sigma_deg = by_pose[p] || size_t(p) >= round.sigma_deg.size()
                                     ? plate.pose_sigma_deg
                                     : round.sigma_deg[p];
        out.sigma_px = std::isfinite(sigma_deg) ? sigma_deg * kRadPerDeg * panorama_px_per_rad : 0;
    }
    return solved;
}

FoundLenses foundLenses(const Cameras& cameras) {
    // A focal length wrong by this bends a full turn by two degrees.
    constexpr double kHardlyTold = 0.005;
    FoundLenses found;
    for (size_t g = 0; g < cameras.correction.size(); ++g) {
        const LensCorrection& correction = cameras.correction[g];
        int plates = 0, one = -1;
        double least_focal = 1, most_focal = 1;
        for (int p = 0; p < cameras.size(); ++p) {
            if (cameras.plates[p].lens_group != int(g) || !cameras.worldFromCamera[p] ||
                lensIsKnown(cameras.plates[p]))
                continue;
            ++plates;
            one = p;
            least_focal = std::min(least_focal, cameras.breathing[p]);
            most_focal = std::max(most_focal, cameras.breathing[p]);
        }
        // Without an uncertainty nothing was found: no ties, or a solve that failed.
        if (plates < 2 || correction.covariance.isZero()) continue;
        const Plate& plate = cameras.plates[one];
        const double focal_mm = plate.lens.focal_mm * correction.term[kScale];
        const double sigma_mm = plate.lens.focal_mm * correction.sigma(kScale);
        std::string text = "lens of " + std::to_string(plates) +
                           " plates found from the overlaps: " +
                           said("focal length %.3f mm +-%.3f", focal_mm, std::max(0.001, sigma_mm));
        if (most_focal - least_focal > 1e-4)
            text += said(" (breathing %+.2f to %+.2f %%)", 100 * (least_focal - 1),
                         100 * (most_focal - 1));
        if (!plate.distortion_known) {
            // The lens draws the corner nearer by as much as flattening puts it further out.
            const double out = correction.term[kC1] + correction.term[kC2] + correction.term[kC3];
            const auto radial = correction.covariance.block<3, 3>(kC1, kC1);
            const double sigma = std::sqrt(std::max(0.0, radial.sum()));
            text += said(", distortion %+.2f %% in the corners", 100 * (1 / (1 + out) - 1));
            // Where each plate's focal length is known and distortion goes with focus, the terms
            // share out among them what only their sum tells.
            if (correction.covariance(kC1ByBreathing, kC1ByBreathing) == 0 || focalIsUnknown(plate))
                text += said(" +-%.2f", std::max(0.01, 100 * sigma));
        }
        found.notes.push_back(text);
        if (sigma_mm > kHardlyTold * focal_mm)
            found.warnings.push_back(
                "the overlaps hardly tell the lens: its focal length is known to " +
                said("%.1f %% only; say it with --focal, or give a lens measured by calibrate",
                     100 * sigma_mm / focal_mm));
    }
    for (size_t g = 0; g < cameras.correction.size(); ++g)
        for (const Plate& plate : cameras.plates) {
            const auto& term = cameras.correction[g].term;
            const double shift_mm = std::hypot(term[kAxisX], term[kAxisY]);
            if (plate.lens_group != int(g) || !plate.distortion_known || shift_mm == 0) continue;
            found.notes.push_back(
                said("optical axis of the lens table set right from the overlaps by %.3f px",
                     shift_mm / plate.sensor.mmPerPixelX()));
            break;
        }
    int refocused = 0;
    double most = 0;
    for (int p = 0; p < cameras.size(); ++p) {
        const Plate& plate = cameras.plates[p];
        if (!plate.refocused || !cameras.worldFromCamera[p] || cameras.breathing[p] == 1) continue;
        ++refocused;
        most = std::max(most, Plate::kRefocused *
                                  std::abs((cameras.breathing[p] - 1) /
                                           (plate.refocused->focal_mm / plate.lens.focal_mm - 1)));
    }
    if (refocused > 0)
        found.notes.push_back("focus of " + std::to_string(refocused) +
                              said(" plates set right from the overlaps, by up to %.1f %% of the "
                                   "distance that was read off the ring",
                                   100 * most));
    return found;
}

}  // namespace plateloom::stitch
