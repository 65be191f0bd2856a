#include "stitch/plates/lens_groups.h"

#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

bool agrees(double a, double b, double share) {
    return std::abs(a - b) <= share * std::abs(b);
}

bool sharesLens(const Plate& a, const Plate& b) {
    constexpr double kSameFocal = 0.005, kSameSensor = 0.001, kSameShape = 0.005;
    if (a.distortion_known != b.distortion_known || a.shading_known != b.shading_known)
        return false;
    if (a.geometry_sigma.axis_mm != b.geometry_sigma.axis_mm) return false;
    if (!agrees(a.sensor.width_mm, b.sensor.width_mm, kSameSensor)) return false;
    if (!agrees(a.sensor.width_mm / a.sensor.height_mm, b.sensor.width_mm / b.sensor.height_mm,
                kSameShape))
        return false;
    // A lens whose distortion is known may breathe from plate to plate: a common correction of its
    // focal length still makes sense. An unknown one may not, since its distortion goes with it.
    return (a.distortion_known && a.focal_sigma == b.focal_sigma) ||
           agrees(a.lens.focal_mm, b.lens.focal_mm, kSameFocal);
}

}  // namespace

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
}

}  // namespace plateloom::stitch
