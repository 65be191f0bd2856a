#include "stitch/calibrate/shading_figures.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/said.h"

namespace plateloom::stitch {

namespace {

constexpr int kRings = 24, kCurveSteps = 32;
constexpr std::array<double, 3> kHeights{0.5, 0.75, 1.0};

double quantile(std::vector<double>& values, double share) {
    const auto at = values.begin() + long(share * double(values.size() - 1) + 0.5);
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

double stopsDown(double light) {
    return -std::log2(light);
}

// Flat distance from the axis of a recorded image height, over the frame's four diagonals.
double flatHeight_mm(const calib::LookedUp& lens, const calib::Sensor& sensor, double share) {
    const double height_mm = share * sensor.halfDiagonal_mm();
    if (!lens.geometry || !lens.missing.empty()) return height_mm;
    const calib::LensMap map(lens.lens, sensor);
    double sum = 0;
    int count = 0;
    for (const double x : {-0.5, 0.5})
        for (const double y : {-0.5, 0.5}) {
            const auto flat = map.flatFromRecorded_mm(
                {share * x * sensor.width_mm, share * y * sensor.height_mm});
            if (!flat) continue;
            sum += (*flat - lens.lens.projection_offset_mm).norm();
            ++count;
        }
    return count > 0 ? sum / count : height_mm;
}

// The same lens setting but for an iris closed furthest; null where this is it, or irises are not
// known.
const ShadingSetting* smallestIris(const ShadingMeasurement& measured, const ShadingSetting& at) {
    if (!at.setting.t_stop) return nullptr;
    const ShadingSetting* smallest = &at;
    for (const ShadingSetting& other : measured.settings) {
        calib::LensSetting same_iris = other.setting;
        same_iris.t_stop = at.setting.t_stop;
        if (!other.setting.t_stop || !calib::isSameSetting(same_iris, at.setting)) continue;
        if (*other.setting.t_stop > *smallest->setting.t_stop) smallest = &other;
    }
    return smallest == &at ? nullptr : smallest;
}

void describeProfile(const std::vector<std::vector<calib::FieldCell>>& cells, size_t setting,
                     ShadingMeasurement* measured) {
    ShadingSetting& at = measured->settings[setting];
    std::array<std::vector<double>, kRings> lights, radii;
    const double reach_mm = measured->sensor.halfDiagonal_mm();
    for (size_t k = 0; k < measured->pictures.size(); ++k) {
        const ShadingPicture& picture = measured->pictures[k];
        if (picture.setting != int(setting)) continue;
        for (size_t i = 0; i < picture.used.size(); ++i) {
            if (!picture.used[i]) continue;
            const double r = cells[k][i].mm.norm();
            const auto ring = size_t(std::min<double>(kRings - 1, kRings * r / reach_mm));
            lights[ring].push_back(std::exp(picture.residual[i]) * at.shading.transmission(r * r));
            radii[ring].push_back(r);
        }
    }
    for (size_t ring = 0; ring < kRings; ++ring) {
        if (lights[ring].empty()) continue;
        double sum = 0;
        for (const double r : radii[ring]) sum += r;
        auto& light = lights[ring];
        at.profile.push_back({sum / double(radii[ring].size()), quantile(light, 0.5),
                              quantile(light, 0.1), quantile(light, 0.9), int(light.size())});
    }
}

}  // namespace

std::vector<double> focalLengths_mm(const ShadingMeasurement& measured,
                                    const std::optional<calib::LensLookup>& geometry) {
    std::vector<double> out;
    for (const ShadingSetting& at : measured.settings) {
        double focal_mm = at.setting.focal_mm.value_or(0);
        if (geometry) {
            const calib::LookedUp lens = geometry->at(at.setting);
            if (lens.geometry && lens.missing.empty()) focal_mm = lens.lens.focal_mm;
        }
        out.push_back(focal_mm);
    }
    return out;
}

double lampTilt_stops(const calib::FittedPicture& fitted,
                      const std::vector<calib::FieldCell>& cells, const calib::Sensor& sensor) {
    // What the lamp does over the frame, its bow left out: the plane through its values.
    const double reach_mm = sensor.halfDiagonal_mm();
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    calib::Vector3d right = calib::Vector3d::Zero();
    for (size_t i = 0; i < cells.size(); ++i) {
        if (!fitted.used[i]) continue;
        const calib::Vector3d row(1, cells[i].mm.x() / reach_mm, cells[i].mm.y() / reach_mm);
        normal += row * row.transpose();
        right += row * fitted.lamp.at(fitted.on_lamp[i]);
    }
    const calib::Vector3d plane = normal.ldlt().solve(right);
    const double rise =
        (std::abs(plane.y()) * sensor.width_mm + std::abs(plane.z()) * sensor.height_mm) /
        (2 * reach_mm);
    if (!(plane.x() > rise)) return 0;
    return std::log2((plane.x() + rise) / (plane.x() - rise));
}

double typicalRest(const ShadingPicture& picture) {
    std::vector<double> sizes;
    for (const double residual : picture.residual)
        if (std::isfinite(residual)) sizes.push_back(std::abs(residual));
    return sizes.empty() ? 0 : 1.4826 * quantile(sizes, 0.5);
}

void describeSettings(const std::vector<std::vector<calib::FieldCell>>& cells,
                      ShadingMeasurement* measured) {
    for (size_t s = 0; s < measured->settings.size(); ++s) {
        ShadingSetting& at = measured->settings[s];
        double sum = 0;
        for (const ShadingPicture& picture : measured->pictures) {
            if (picture.setting != int(s)) continue;
            at.used_cells += picture.used_cells;
            at.ignored_cells += picture.ignored_cells;
            sum += picture.rms * picture.rms * picture.used_cells;
        }
        at.rms = std::sqrt(sum / std::max(1, at.used_cells));
        describeProfile(cells, s, measured);
    }
}

void describeHeights(const std::vector<double>& focals_mm,
                     const std::optional<calib::LensLookup>& geometry,
                     ShadingMeasurement* measured) {
    const double reach_mm = measured->sensor.halfDiagonal_mm();
    for (size_t s = 0; s < measured->settings.size(); ++s) {
        ShadingSetting& at = measured->settings[s];
        const ShadingSetting* smallest = smallestIris(*measured, at);
        calib::LookedUp lens;
        if (geometry) lens = geometry->at(at.setting);
        const auto falloffAt = [&](double share) {
            FalloffAt height;
            height.share = share;
            height.radius_mm = share * reach_mm;
            const double r2 = height.radius_mm * height.radius_mm;
            height.stops = stopsDown(at.shading.transmission(r2));
            if (focals_mm[s] > 0) {
                height.natural_stops = stopsDown(calib::cosineFourth(
                    flatHeight_mm(lens, measured->sensor, share), focals_mm[s]));
                height.mechanical_stops = height.stops - *height.natural_stops;
            }
            if (smallest)
                height.opened_stops = height.stops - stopsDown(smallest->shading.transmission(r2));
            return height;
        };
        for (const double share : kHeights) at.heights.push_back(falloffAt(share));
        for (int i = 0; i <= kCurveSteps; ++i)
            at.curve.push_back(falloffAt(double(i) / kCurveSteps));
    }
}

void remark(bool focal_known, ShadingMeasurement* measured) {
    if (!measured->bow_separated)
        measured->notes.push_back(
            std::string("a lamp that is brighter or darker in its middle can't be told from "
                        "falloff here: turn the camera some degrees to each side between the "
                        "pictures and give pan_deg and tilt_deg in a --camera-report") +
            (focal_known ? "" : ", and --focal"));
    for (const ShadingPicture& picture : measured->pictures) {
        constexpr double kMostRest = 0.003, kMostIgnored = 0.15;
        const auto cells = double(picture.used.size());
        if (picture.rms > kMostRest)
            measured->warnings.push_back(
                picture.file +
                said(": %.2f %% of its light is left unexplained; the lamp is more uneven than a "
                     "tilt and a bow, the rings stood elsewhere than said, or the falloff is "
                     "steeper than three terms can follow",
                     100 * picture.rms));
        if (picture.ignored_cells > kMostIgnored * cells)
            measured->warnings.push_back(
                picture.file + said(": %.0f %% of the frame was left out (dust, dead pixels, "
                                    "clipped); clean the sensor or the screen",
                                    100 * picture.ignored_cells / cells));
        if (picture.clipped_cells > 0)
            measured->warnings.push_back(picture.file +
                                         said(": %d of %.0f cells are clipped and were left out",
                                              picture.clipped_cells, cells));
    }
    for (const ShadingSetting& at : measured->settings)
        if (at.heights.back().stops < -0.02)
            measured->warnings.push_back(
                toString(at.setting) +
                said(": the corners come out %.2f stops brighter than the middle; is the lamp "
                     "brighter toward its edges?",
                     -at.heights.back().stops));
}

}  // namespace plateloom::stitch
