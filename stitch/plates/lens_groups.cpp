#include "stitch/plates/lens_groups.h"

#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

bool agrees(double a, double b, double share) {
    return std::abs(a - b) <= share * std::abs(b);
}

bool sharesLens(const Plate& a, const Plate& b) {
    // A lens breathes by a percent or two; a zoom that moved changes its distortion otherwise.
    constexpr double kSameFocal = 0.005, kBreathes = 0.02, kSameSensor = 0.001, kSameShape = 0.005;
    if (a.distortion_known != b.distortion_known || a.shading_known != b.shading_known)
        return false;
    if (a.geometry_sigma.axis_mm != b.geometry_sigma.axis_mm) return false;
    const auto same = [&](const calib::Sensor& one, double width_mm, double height_mm) {
        return agrees(one.width_mm, width_mm, kSameSensor) &&
               agrees(one.width_mm / one.height_mm, width_mm / height_mm, kSameShape);
    };
    // What is solved of a lens whose distortion is not known is the same however the camera was
    // held.
    const bool turned =
        !a.distortion_known && same(a.sensor, b.sensor.height_mm, b.sensor.width_mm);
    if (!turned && !same(a.sensor, b.sensor.width_mm, b.sensor.height_mm)) return false;
    // A lens whose distortion is known may change as it likes from plate to plate: a common
    // correction of its focal length still makes sense. Of one whose distortion is to be found,
    // that goes with the breathing, which has to be known then.
    if (a.distortion_known && a.focal_sigma == b.focal_sigma) return true;
    const bool known = focalIsMeasured(a) && focalIsMeasured(b);
    return agrees(a.lens.focal_mm, b.lens.focal_mm, known ? kBreathes : kSameFocal);
}

// Upright pictures of a group with lying ones.
void tellTurns(size_t groups, std::vector<Plate>* plates) {
    const auto lies = [](const Plate& plate) {
        return plate.sensor.width_mm > plate.sensor.height_mm;
    };
    std::vector<char> any_lies(groups, 0);
    for (const Plate& plate : *plates)
        if (lies(plate)) any_lies[size_t(plate.lens_group)] = 1;
    // Where the file does not say which way, clockwise is assumed: it matters for the lens's centre
    // only.
    for (Plate& plate : *plates)
        plate.quarter_turn = lies(plate) || !any_lies[size_t(plate.lens_group)] ? 0
                             : plate.file.quarter_turn != 0 ? plate.file.quarter_turn
                                                            : 1;
}

void tellBreathing(size_t groups, std::vector<Plate>* plates) {
    std::vector<double> sum(groups, 0), count(groups, 0);
    for (const Plate& plate : *plates) {
        sum[size_t(plate.lens_group)] += plate.lens.focal_mm;
        ++count[size_t(plate.lens_group)];
    }
    for (Plate& plate : *plates) {
        const auto group = size_t(plate.lens_group);
        plate.known_breathing = !plate.distortion_known && focalIsMeasured(plate)
                                    ? plate.lens.focal_mm * count[group] / sum[group]
                                    : 1;
    }
}

}  // namespace

bool focalIsMeasured(const Plate& plate) {
    return plate.focal_sigma < 0.01;
}

void groupByLens(const std::vector<std::string>& identity, std::vector<Plate>* plates) {
    assert(identity.size() == plates->size());
    std::vector<size_t> first;  // of each group
    for (size_t i = 0; i < plates->size(); ++i) {
        size_t group = 0;
        while (group < first.size() && !(identity[i] == identity[first[group]] &&
                                         sharesLens((*plates)[i], (*plates)[first[group]])))
            ++group;
        if (group == first.size()) first.push_back(i);
        (*plates)[i].lens_group = int(group);
    }
    tellTurns(first.size(), plates);
    tellBreathing(first.size(), plates);
}

}  // namespace plateloom::stitch
