#include "stitch/mount/overlap_distance.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "calib/median.h"
#include "calib/said.h"

namespace plateloom::stitch {

namespace {

// What one tie says: its inverse distance, and the pixels of parallax that 1 / m of it makes.
struct Voice {
    double inverse_m = 0, px_per_inverse = 0;
    Vector3d direction;
};

double quantile(std::vector<double> values, double share) {
    std::sort(values.begin(), values.end());
    return values[std::min(values.size() - 1, size_t(share * double(values.size())))];
}

double distanceOf(double inverse_m) {
    return inverse_m > 1e-9 ? 1 / inverse_m : std::numeric_limits<double>::infinity();
}

OverlapDistance told(int a, int b, const std::vector<Voice>& voices, double apart_m) {
    OverlapDistance overlap{a, b, int(voices.size()), apart_m, 0, 0, 0, Vector3d::Zero(), {}};
    std::vector<double> inverse;
    for (const auto& voice : voices) {
        inverse.push_back(voice.inverse_m);
        overlap.direction += voice.direction;
    }
    overlap.direction.normalize();
    overlap.inverse_m = std::max(0.0, calib::median(inverse));
    overlap.nearest_m = distanceOf(quantile(inverse, 0.9));
    overlap.farthest_m = distanceOf(quantile(inverse, 0.1));
    std::array<double, 9> asked{0,       1 / 50.0, 1 / 25.0, 1 / 15.0,         1 / 10.0,
                                1 / 7.0, 1 / 5.0,  1 / 3.0,  overlap.inverse_m};
    std::sort(asked.begin(), asked.end());
    for (const double composed : asked) {
        std::vector<double> parallax_px;
        for (const auto& voice : voices)
            parallax_px.push_back(std::abs(voice.inverse_m - composed) * voice.px_per_inverse);
        overlap.left.push_back({composed, calib::median(parallax_px)});
    }
    return overlap;
}

}  // namespace

std::vector<OverlapDistance> overlapDistances(const Mount& mount,
                                              const std::vector<int>& clip_of_body,
                                              const std::vector<MountTie>& ties,
                                              const MountBundle& bundle) {
    std::map<std::pair<int, int>, std::vector<Voice>> voices;
    for (size_t t = 0; t < ties.size(); ++t) {
        if (!bundle.inlier[t] || !bundle.inverse_m[t]) continue;
        const auto& tie = ties[t];
        const int a = clip_of_body[size_t(tie.a.body)], b = clip_of_body[size_t(tie.b.body)];
        const Vector3d direction = *bundle.mountFromCamera[size_t(tie.a.body)] * tie.a.ray;
        const Vector3d apart =
            *mount.cameras[size_t(a)].pupil_m - *mount.cameras[size_t(b)].pupil_m;
        const double across = (apart - apart.dot(direction) * direction).norm();
        voices[{a, b}].push_back({*bundle.inverse_m[t], across * tie.b.px_per_rad, direction});
    }
    constexpr size_t kLeastTies = 12;
    std::vector<OverlapDistance> out;
    for (const auto& [pair, heard] : voices) {
        if (heard.size() < kLeastTies) continue;
        const auto &a = mount.cameras[size_t(pair.first)], &b = mount.cameras[size_t(pair.second)];
        out.push_back(told(pair.first, pair.second, heard, (*a.pupil_m - *b.pupil_m).norm()));
    }
    return out;
}

std::string distanceInWords(double inverse_m) {
    if (!(inverse_m > 1e-4)) return "infinity";
    const double distance_m = 1 / inverse_m;
    return said(distance_m < 10 ? "%.1f m" : "%.0f m", distance_m);
}

}  // namespace plateloom::stitch
