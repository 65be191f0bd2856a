#include "stitch/calibrate/chart_axis.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "calib/axis_over_focus.h"
#include "calib/said.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kLeastSettings = 3, kLeastForSlope = 4;

using Settings = std::vector<size_t>;  // of one zoom position

std::vector<Settings> byFocalLength(const std::vector<ChartTask>& tasks) {
    std::vector<Settings> groups;
    for (size_t t = 0; t < tasks.size(); ++t) {
        const auto zoom = [](const ChartTask& task) {
            return calib::LensSetting{std::nullopt, std::nullopt, task.setting.focal_mm};
        };
        Settings* group = nullptr;
        for (auto& known : groups)
            if (isSameSetting(zoom(tasks[known.front()]), zoom(tasks[t]))) group = &known;
        if (!group) group = &groups.emplace_back();
        group->push_back(t);
    }
    return groups;
}

// Nothing where a setting does not know its focus, or not its axis.
std::vector<calib::AxisMeasured> axesOf(const Settings& settings,
                                        const std::vector<ChartMeasurement>& lenses) {
    std::vector<calib::AxisMeasured> out;
    for (const size_t s : settings) {
        const ChartMeasurement& lens = lenses[s];
        const bool solved = lens.model.centre != calib::CentreTerms::none &&
                            lens.axis_sigma_mm.allFinite() && lens.axis_sigma_mm.minCoeff() > 0;
        if (!lens.setting.focus_m || !solved) return {};
        out.push_back(
            {1 / *lens.setting.focus_m, lens.lens.projection_offset_mm, lens.axis_sigma_mm});
    }
    return out;
}

calib::HeldOut heldOutOf(const std::vector<const ChartMeasurement*>& lenses) {
    calib::HeldOut out;
    double sum = 0, points = 0;
    for (const auto* lens : lenses)
        for (const auto& picture : lens->pictures) {
            if (!picture.used) continue;
            const double square = picture.held_out_rms_px * picture.held_out_rms_px;
            out.mean_square_px.push_back(square);
            sum += square * double(picture.points.size());
            points += double(picture.points.size());
        }
    out.rms_px = std::sqrt(sum / points);
    return out;
}

std::optional<ChartMeasurement> measuredWith(const ChartTask& task, const ChartMeasurement& own,
                                             const calib::Vector2d& axis_mm,
                                             const calib::Vector2d& sigma_mm) {
    ChartTask held = task;
    held.model = own.model;
    held.axis_mm = axis_mm;
    try {
        ChartMeasurement out = measureLens(held);
        out.tried = own.tried;
        out.axis_sigma_mm = sigma_mm;
        // With the axis held they seem better known than they are.
        out.tangential_sigma = own.tangential_sigma;
        out.centre_sigma_mm = (out.centre_sigma_mm.cwiseAbs2() + sigma_mm.cwiseAbs2()).cwiseSqrt();
        return out;
    } catch (const io::InputError&) {
        return std::nullopt;  // with that axis these pictures tell no lens at all
    }
}

// The settings' lenses with the common axis, or nothing where the pictures speak against it.
std::optional<std::vector<ChartMeasurement>> shared(const Settings& settings,
                                                    const std::vector<ChartTask>& tasks,
                                                    const std::vector<ChartMeasurement>& lenses,
                                                    const calib::AxisOverFocus& axis) {
    if (axis.isContradicted()) return std::nullopt;
    std::vector<ChartMeasurement> out;
    for (size_t i = 0; i < settings.size(); ++i) {
        const size_t s = settings[i];
        auto lens = measuredWith(tasks[s], lenses[s], axis.axis_mm[i], axis.sigma_mm[i]);
        if (!lens) return std::nullopt;
        out.push_back(std::move(*lens));
    }
    std::vector<const ChartMeasurement*> own, held;
    for (const size_t s : settings) own.push_back(&lenses[s]);
    for (const auto& lens : out) held.push_back(&lens);
    const auto before = heldOutOf(own), after = heldOutOf(held);
    const bool same_pictures = before.mean_square_px.size() == after.mean_square_px.size();
    if (!same_pictures || !isAsGood(after, before)) return std::nullopt;
    return out;
}

}  // namespace

std::vector<std::string> shareAxis(const std::vector<ChartTask>& tasks,
                                   std::vector<ChartMeasurement>* lenses) {
    std::vector<std::string> lines;
    for (const Settings& settings : byFocalLength(tasks)) {
        if (settings.size() < kLeastSettings) continue;
        const auto measured = axesOf(settings, *lenses);
        if (measured.empty()) continue;
        std::optional<std::vector<ChartMeasurement>> found;
        calib::AxisOverFocus axis;
        bool goes = false;
        for (const bool with_focus : {false, true}) {
            if (with_focus && settings.size() < kLeastForSlope) break;
            axis = axisOverFocus(measured, with_focus);
            found = shared(settings, tasks, *lenses, axis);
            goes = with_focus;
            if (found) break;
        }
        if (!found) {
            lines.push_back(
                said("the optical axis of %zu focus settings does not go smoothly from "
                     "one to the next; each keeps its own",
                     settings.size()));
            continue;
        }
        double sigma_px = 0;
        for (const auto& sigma_mm : axis.sigma_mm)
            sigma_px =
                std::max(sigma_px, sigma_mm.maxCoeff() / lenses->front().sensor.mmPerPixelX());
        lines.push_back(said("one optical axis for %zu focus settings%s, one sigma %.3f px",
                             settings.size(), goes ? ", going evenly with 1 / distance" : "",
                             sigma_px));
        for (size_t i = 0; i < settings.size(); ++i)
            (*lenses)[settings[i]] = std::move((*found)[i]);
    }
    return lines;
}

}  // namespace plateloom::stitch
