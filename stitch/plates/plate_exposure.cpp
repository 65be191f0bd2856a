#include "stitch/plates/plate_exposure.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

using Values = std::vector<std::optional<double>>;

size_t known(const Values& values) {
    return size_t(
        std::count_if(values.begin(), values.end(), [](const auto& v) { return v.has_value(); }));
}

template <class Pick>
Values picked(const std::vector<ExposureFacts>& plates, Pick pick) {
    Values out;
    for (const ExposureFacts& plate : plates) out.push_back(pick(plate));
    return out;
}

// The first of several ways to say the same thing that every plate uses, else the one that most do.
const Values& bestOf(const Values& first, const Values& second) {
    if (known(first) == first.size()) return first;
    return known(second) > known(first) ? second : first;
}

std::optional<double> shutterSeconds(const ExposureFacts& plate) {
    if (plate.shutter_s) return plate.shutter_s;
    if (plate.shutter_deg && plate.fps) return *plate.shutter_deg / 360 / *plate.fps;
    return std::nullopt;
}

}  // namespace

KnownExposure knownExposure(const std::vector<ExposureFacts>& plates) {
    const Values t = picked(plates, [](const auto& p) { return p.t_stop; });
    const Values f = picked(plates, [](const auto& p) { return p.f_stop; });
    const Values seconds = picked(plates, shutterSeconds);
    const Values degrees = picked(plates, [](const auto& p) { return p.shutter_deg; });
    struct Component {
        const char* name;
        Values values;
        double (*stops)(double);
    };
    const Component components[] = {
        {"T-stop", bestOf(t, f), [](double v) { return -2 * std::log2(v); }},
        {"shutter", bestOf(seconds, degrees), [](double v) { return std::log2(v); }},
        {"ISO", picked(plates, [](const auto& p) { return p.iso; }),
         [](double v) { return std::log2(v); }},
        {"ND", picked(plates, [](const auto& p) { return p.nd_stops; }),
         [](double v) { return -v; }}};

    KnownExposure out;
    out.stops.assign(plates.size(), std::nullopt);
    std::vector<double> sum(plates.size(), 0.0);
    bool any = false;
    for (const Component& component : components) {
        const size_t count = known(component.values);
        if (count == 0) continue;
        if (count < plates.size()) {
            out.warning = std::string(component.name) + " is known of " + std::to_string(count) +
                          " of " + std::to_string(plates.size()) +
                          " plates only; exposures are found from the pictures alone";
            return out;
        }
        any = true;
        for (size_t i = 0; i < plates.size(); ++i) sum[i] += component.stops(*component.values[i]);
    }
    if (any)
        for (size_t i = 0; i < plates.size(); ++i) out.stops[i] = sum[i];
    return out;
}

}  // namespace plateloom::stitch
