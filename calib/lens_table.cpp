#include "calib/lens_table.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/focus.h"

namespace plateloom::calib {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

// The focal length goes by its logarithm: breathing is a share of it, at every zoom setting.
enum Geometry { log_focal = 0, radial = 1, tangential = 7, offsets = 9, pupil = 13, geometry_size };

VectorXd geometryOf(const Lens& lens) {
    VectorXd v = VectorXd::Zero(geometry_size);
    v[log_focal] = std::log(lens.focal_mm);
    for (int i = 0; i < 6; ++i) v[radial + i] = lens.distortion.radial[size_t(i)];
    for (int i = 0; i < 2; ++i) v[tangential + i] = lens.distortion.tangential[size_t(i)];
    v.segment<2>(offsets) = lens.distortion_offset_mm;
    v.segment<2>(offsets + 2) = lens.projection_offset_mm;
    v[pupil] = lens.entrance_pupil_offset_m.value_or(0);
    return v;
}

void setGeometry(const VectorXd& v, Lens* lens) {
    lens->focal_mm = std::exp(v[log_focal]);
    for (int i = 0; i < 6; ++i) lens->distortion.radial[size_t(i)] = v[radial + i];
    for (int i = 0; i < 2; ++i) lens->distortion.tangential[size_t(i)] = v[tangential + i];
    lens->distortion_offset_mm = v.segment<2>(offsets);
    lens->projection_offset_mm = v.segment<2>(offsets + 2);
}

// What a difference of two geometries moves in the picture's corner and on the way there, in mm.
// The terms below the line count as if they stood above it with the other sign, to first order.
MatrixXd geometryMetric(double reach_mm) {
    MatrixXd m = MatrixXd::Zero(9, geometry_size);
    m(0, log_focal) = reach_mm;
    for (int row = 0; row < 3; ++row) {
        const double r = reach_mm * (row + 1) / 3, r2 = r * r;
        for (int power = 0; power < 3; ++power) {
            const double moves = r * std::pow(r2, power + 1);
            m(1 + row, radial + 2 * power) = moves;
            m(1 + row, radial + 2 * power + 1) = -moves;
        }
    }
    for (int i = 0; i < 2; ++i) m(4 + i, tangential + i) = 3 * reach_mm * reach_mm;
    m(6, offsets) = m(7, offsets + 1) = 1;
    m(6, offsets + 2) = m(7, offsets + 3) = 1;
    return m;
}

// Share of the light at a third, two thirds and the whole of the way to the corner.
MatrixXd shadingMetric(double reach_mm) {
    MatrixXd m(3, 3);
    for (int row = 0; row < 3; ++row) {
        const double r2 = std::pow(reach_mm * (row + 1) / 3, 2);
        m.row(row) << r2, r2 * r2, r2 * r2 * r2;
    }
    return m;
}

RingPlaces ringsOf(const LensSetting& setting) {
    RingPlaces rings;
    if (setting.focal_mm) rings[zoom_ring] = std::log(*setting.focal_mm);
    if (setting.focus_m) rings[focus_ring] = 1 / *setting.focus_m;
    if (setting.t_stop) rings[iris_ring] = 2 * std::log2(*setting.t_stop);
    return rings;
}

std::string number(const char* format, double value) {
    char text[60];
    std::snprintf(text, sizeof text, format, value);
    return text;
}

// A prime is one lens whether a header rounds its focal length or adds its breathing.
constexpr double kSamePrime = 0.05;

// A ring's place in a person's words.
std::string placeInWords(int ring, double place) {
    switch (ring) {
        case zoom_ring:
            return number("%.3g mm", std::exp(place));
        case focus_ring:
            return focusInWords(place > 0 ? 1 / place : kFocusAtInfinity_m);
        default:
            return number("T%.3g", std::exp2(place / 2));
    }
}

constexpr std::array<const char*, kRings> kQuestionNames{"focal length", "focus", "iris"};
constexpr std::array<const char*, kRings> kMissingNames{"focal length", "focus distance", "T-stop"};

std::string saidBeyond(int ring, double asked, const std::vector<double>& places,
                       const char* what) {
    const std::string here =
        std::string(kQuestionNames[size_t(ring)]) + " " + placeInWords(ring, asked);
    // Focus rises with falling dioptres.
    double first = places.front(), last = places.back();
    const double nearest = std::clamp(asked, first, last);
    if (ring == focus_ring) std::swap(first, last);
    // The same words whatever was asked: many plates, one line.
    if (places.size() == 1)
        return std::string("the lens's ") + what + " was measured at " +
               kQuestionNames[size_t(ring)] + " " + placeInWords(ring, first) +
               " alone, which is taken";
    return here + " lies outside the measured " + placeInWords(ring, first) + " to " +
           placeInWords(ring, last) + ": the lens's " + what + " at " +
           placeInWords(ring, nearest) + " is taken";
}

}  // namespace

std::string toString(const LensSetting& setting) {
    std::string out;
    const auto add = [&](const std::string& words) { out += (out.empty() ? "" : ", ") + words; };
    if (setting.focus_m) add("focus " + focusInWords(*setting.focus_m));
    if (setting.t_stop) add(number("T%.3g", *setting.t_stop));
    if (setting.focal_mm) add(number("%.4g mm", *setting.focal_mm));
    return out.empty() ? "any setting" : out;
}

bool isSameSetting(const LensSetting& a, const LensSetting& b) {
    return SettingGrid::isSamePlace(ringsOf(a), ringsOf(b));
}

GeometrySigma GeometrySigma::orWorse(const GeometrySigma& other) const {
    GeometrySigma out{
        std::max(axis_mm, other.axis_mm), std::max(tangential_per_mm, other.tangential_per_mm), {}};
    for (size_t i = 0; i < out.radial_mm.size(); ++i)
        out.radial_mm[i] = std::max(radial_mm[i], other.radial_mm[i]);
    return out;
}

// What sets the two lookups apart.
struct LensLookup::Kind {
    const char* name;
    bool iris_matters;    // whether leaving the measured irises is worth a word
    double least_change;  // along a ring, below which the ring need not be known
};

LensLookup::LensLookup(const LensTable& table) {
    std::vector<SettingGrid::Point> geometry, shading;
    for (const MeasuredLens& at : table.measured) {
        RingPlaces rings = ringsOf(at.setting);
        if (at.shading)
            shading.push_back({rings, Eigen::Vector3d(at.lens.shading.a1, at.lens.shading.a2,
                                                      at.lens.shading.a3)});
        if (!at.geometry) continue;
        geometry.push_back({rings, geometryOf(at.lens)});
        if (!at.lens.distortion.isNone()) direction_ = at.lens.distortion.direction;
        geometry_sigma_ = geometry_sigma_.orWorse(at.geometry_sigma);
        if (at.supported_radius_mm > 0)
            supported_radius_mm_ = supported_radius_mm_ > 0
                                       ? std::min(supported_radius_mm_, at.supported_radius_mm)
                                       : at.supported_radius_mm;
    }
    pupil_known_ = std::all_of(table.measured.begin(), table.measured.end(), [](const auto& at) {
        return !at.geometry || at.lens.entrance_pupil_offset_m;
    });
    // Where only some charts say their iris, it is not what set them apart.
    const auto says_iris = [](const auto& point) { return point.at[iris_ring].has_value(); };
    if (!std::all_of(geometry.begin(), geometry.end(), says_iris))
        for (auto& point : geometry) point.at[iris_ring].reset();
    const double reach_mm = table.sensor.halfDiagonal_mm();
    pixel_mm_ = table.sensor.mmPerPixelX();
    if (!geometry.empty()) geometry_ = {geometry, geometryMetric(reach_mm)};
    shading_ = {shading, shadingMetric(reach_mm)};
}

SettingGrid::Found LensLookup::ask(const SettingGrid& grid, const Kind& kind,
                                   const LensSetting& setting, LookedUp* out) const {
    const RingPlaces asked = ringsOf(setting);
    const SettingGrid::Found found = grid.at(asked);
    for (int ring = 0; ring < kRings; ++ring) {
        const auto& places = grid.places(Ring(ring));
        const bool matters = grid.change(Ring(ring)) > kind.least_change;
        switch (found.reach[size_t(ring)]) {
            case SettingGrid::Reach::unasked:
                if (matters) out->missing.emplace_back(kMissingNames[size_t(ring)]);
                break;
            case SettingGrid::Reach::below:
            case SettingGrid::Reach::above:
                if (ring == zoom_ring && places.size() == 1 &&
                    std::abs(*asked[zoom_ring] - places.front()) < kSamePrime)
                    break;
                if (ring == iris_ring && !kind.iris_matters && !matters) break;
                out->warnings.push_back(saidBeyond(ring, *asked[size_t(ring)], places, kind.name));
                break;
            default:
                break;
        }
    }
    if (found.carried_over)
        out->warnings.push_back(toString(setting) + ": the lens's " + kind.name +
                                " was measured at neither side of this setting; it is carried over "
                                "from the settings beside");
    return found;
}

LookedUp LensLookup::at(const LensSetting& setting) const {
    LookedUp out;
    out.lens.distortion.direction = direction_;
    if (!geometry_.empty()) {
        const Kind kind{"geometry", false, 0.1 * pixel_mm_};
        const VectorXd value = ask(geometry_, kind, setting, &out).value;
        setGeometry(value, &out.lens);
        if (pupil_known_) out.lens.entrance_pupil_offset_m = value[pupil];
        out.geometry = true;
        out.supported_radius_mm = supported_radius_mm_;
        out.geometry_sigma = geometry_sigma_;
    }
    if (!shading_.empty()) {
        const Kind kind{"shading", true, 0.003};
        const VectorXd value = ask(shading_, kind, setting, &out).value;
        out.lens.shading = {value[0], value[1], value[2]};
        out.shading = true;
    }
    std::sort(out.missing.begin(), out.missing.end());
    out.missing.erase(std::unique(out.missing.begin(), out.missing.end()), out.missing.end());
    out.lens.focus_m = setting.focus_m;
    out.lens.t_stop = setting.t_stop;
    return out;
}

LookedUp lensAt(const LensTable& table, const LensSetting& setting) {
    return LensLookup(table).at(setting);
}

}  // namespace plateloom::calib
