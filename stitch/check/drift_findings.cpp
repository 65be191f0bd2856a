#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>

#include "calib/focus.h"
#include "calib/said.h"
#include "stitch/check/shoot_record.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

namespace {

// One thing that is locked for a shoot, as the papers give it for each plate.
struct Setting {
    FindingKind kind;
    const char* name;
    std::function<std::optional<double>(const Plate&)> value;
    std::function<double(double value, double usual)> off;  // 1: as far off as is worth telling
    std::function<std::string(double value)> inWords;
    const char* advice;
};

std::vector<Setting> settings() {
    return {
        {FindingKind::focus, "focus", [](const Plate& plate) { return plate.lens.focus_m; },
         // Five per cent of a distance near by; far away, what a twentieth of a dioptre is.
         [](double value, double usual) {
             return std::min(std::abs(value / usual - 1) / 0.05,
                             std::abs(1 / value - 1 / usual) / 0.01);
         },
         [](double value) { return calib::focusInWords(value); },
         "lock the focus, and shoot these again if they look softer"},
        {FindingKind::iris, "iris",
         [](const Plate& plate) {
             return plate.lens.t_stop ? plate.lens.t_stop : plate.lens.f_stop;
         },
         [](double value, double usual) { return std::abs(2 * std::log2(value / usual)) / 0.15; },
         [](double value) { return said("T%.2g", value); },
         "lock the iris: depth of field and shading go with it"},
        {FindingKind::focal, "focal length",
         [](const Plate& plate) {
             return plate.focal_sigma < 0.2 && plate.lens.focal_mm > 0
                        ? std::optional(plate.lens.focal_mm)
                        : std::nullopt;
         },
         [](double value, double usual) { return std::abs(value / usual - 1) / 0.02; },
         [](double value) { return said("%.4g mm", value); },
         "lock the zoom, or give a lens track that follows it"}};
}

}  // namespace

std::vector<Finding> driftFindings(const ShootRecord& record) {
    std::vector<Finding> findings;
    for (const Setting& setting : settings()) {
        std::vector<double> known;
        for (size_t i = 0; i < record.set.plates.size(); ++i)
            if (const auto value = setting.value(record.set.plates[i])) known.push_back(*value);
        if (known.size() < 2) continue;
        std::sort(known.begin(), known.end());
        const double usual = known[known.size() / 2];
        std::vector<std::string> moved;
        double worst = usual;
        for (const auto& plate : record.set.plates) {
            const auto value = setting.value(plate);
            if (!value || setting.off(*value, usual) < 1) continue;
            moved.push_back(plate.file.path.filename().string());
            if (setting.off(*value, usual) > setting.off(worst, usual)) worst = *value;
        }
        if (moved.empty()) continue;
        const bool throughout = 3 * moved.size() > known.size();
        const std::string text =
            throughout
                ? std::string(setting.name) +
                      " moves from plate to plate: " + setting.inWords(known.front()) + " to " +
                      setting.inWords(known.back())
                : std::string(setting.name) + " moved on " + inWords(moved) + ": " +
                      setting.inWords(worst) + " where the others have " + setting.inWords(usual);
        findings.push_back({setting.kind, false, moved, {}, {}, text, setting.advice});
    }
    return findings;
}

}  // namespace plateloom::stitch
