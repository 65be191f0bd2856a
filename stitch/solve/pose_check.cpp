#include "stitch/solve/pose_check.h"

#include <algorithm>

#include "calib/median.h"
#include "calib/said.h"
#include "stitch/solve/level.h"

namespace plateloom::stitch {

namespace {

using Poses = std::vector<calib::PanTiltRoll>;

Poses mirrored(Poses poses) {
    for (auto& pose : poses) pose.pan_deg = -pose.pan_deg;
    return poses;
}

// How far each pose is from where its plate was solved, after the one turn that most agree on.
std::vector<double> contradictions_deg(const Poses& poses, const std::vector<Matrix3d>& solved) {
    std::vector<Matrix3d> poseFromSolved;
    for (size_t i = 0; i < poses.size(); ++i)
        poseFromSolved.emplace_back(calib::worldFromCamera(poses[i]) * solved[i].transpose());
    const Matrix3d turn = robustMean(poseFromSolved);
    std::vector<double> off_deg;
    for (const Matrix3d& one : poseFromSolved)
        off_deg.push_back(calib::angleBetween_deg(one, turn));
    return off_deg;
}

}  // namespace

PoseCheck checkPoses(const Cameras& cameras, const std::vector<int>& group) {
    constexpr double kLeast_deg = 3, kSigmas = 5;
    PoseCheck check;
    std::vector<int> plates;
    std::vector<double> limit_deg;
    Poses poses;
    std::vector<Matrix3d> solved;
    for (const int p : group) {
        const Plate& plate = cameras.plates[size_t(p)];
        if (!plate.pose || !cameras.worldFromCamera[size_t(p)]) continue;
        plates.push_back(p);
        poses.push_back(*plate.pose);
        solved.push_back(*cameras.worldFromCamera[size_t(p)]);
        limit_deg.push_back(std::max(kLeast_deg, kSigmas * plate.pose_sigma_deg));
    }
    if (plates.size() < 2) return check;
    const auto off_deg = contradictions_deg(poses, solved);
    for (size_t i = 0; i < plates.size(); ++i) {
        if (off_deg[i] <= limit_deg[i]) continue;
        check.off.push_back(plates[i]);
        check.worst_deg = std::max(check.worst_deg, off_deg[i]);
    }
    // Of two poses, or of one wrong among many, a mirror could make anything.
    constexpr size_t kLeastPoses = 3;
    if (plates.size() < kLeastPoses || check.off.size() * 3 < plates.size()) return check;
    const auto mirrored_deg = contradictions_deg(mirrored(poses), solved);
    constexpr double kMuchBetter = 0.2;
    check.mirrored = calib::median(mirrored_deg) < limit_deg.front() &&
                     calib::median(mirrored_deg) < kMuchBetter * check.worst_deg;
    for (size_t i = 0; i < plates.size() && check.mirrored; ++i)
        check.mirrored = mirrored_deg[i] <= std::max(limit_deg[i], kMuchBetter * check.worst_deg);
    check.worst_mirrored_deg = *std::max_element(mirrored_deg.begin(), mirrored_deg.end());
    return check;
}

std::string PoseCheck::inWords(const Cameras& cameras) const {
    if (off.empty()) return "";
    constexpr size_t kMost = 4;
    if (mirrored)
        return said(
            "the poses contradict the ties by up to %.0f degrees; with their pans negated they "
            "agree to %.1f: this head counts pan clockwise, here it is positive to the left. "
            "Pans are taken negated; negate them in the report",
            worst_deg, worst_mirrored_deg);
    std::string names;
    for (size_t i = 0; i < std::min(kMost, off.size()); ++i)
        names += (i ? ", " : "") + cameras.plates[size_t(off[i])].file.path.filename().string();
    if (off.size() > kMost) names += " and " + std::to_string(off.size() - kMost) + " more";
    return said(off.size() == 1 ? "the pose of %s contradicts its ties by %.0f degrees"
                                : "the poses of %s contradict their ties by up to %.0f degrees",
                names.c_str(), worst_deg) +
           "; the ties are used. See whether the report's lines, or the lens samples, belong to "
           "these plates";
}

void mirrorPans(Cameras& cameras) {
    for (Plate& plate : cameras.plates)
        if (plate.pose) plate.pose->pan_deg = -plate.pose->pan_deg;
}

}  // namespace plateloom::stitch
