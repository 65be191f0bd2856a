// A lens measured at some settings of its rings, and looked up at any other.
//
// Geometry (focal length, distortion, centre) and shading are looked up each on their own: a chart
// is shot at many focus distances and one iris, flat fields at many irises and few focus distances.
// Between settings a lens goes smoothly in 1/focus, in stops and in ln(focal length), see
// calib/setting_grid.h; beyond what was measured the nearest measured setting is taken and a
// warning says so. Geometry does not ask for the iris unless it was measured at several.
//
// All settings of a table have the same direction of the distortion model (D-U or U-D).
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/setting_grid.h"

namespace plateloom::calib {

/// What the rings said. nullopt: not known.
struct LensSetting {
    std::optional<double> focus_m, t_stop;
    std::optional<double> focal_mm;  ///< nominal: what the zoom ring, or the barrel, is marked with
};

/// "focus 2 m, T2.8, 28 mm"; "any setting" where nothing is known.
[[nodiscard]] std::string toString(const LensSetting& setting);
/// Close enough to be one setting that was shot twice.
[[nodiscard]] bool isSameSetting(const LensSetting& a, const LensSetting& b);

/// How well charts told a lens's geometry, one sigma; 0: nobody said.
struct GeometrySigma {
    double axis_mm = 0;  ///< of the optical axis (dP), along either side of the frame
    /// Of p1 and p2; where a distortion centre was solved beside them, of what both come to.
    double tangential_per_mm = 0;
    /// Of the place of a point of the picture, toward the centre or away from it, at each of
    /// `kRadialHeights`.
    std::array<double, 3> radial_mm{};

    /// The larger of each.
    [[nodiscard]] GeometrySigma orWorse(const GeometrySigma& other) const;
};
/// Image heights, as shares of the half diagonal, at which a chart says how sure it is.
constexpr std::array<double, 3> kRadialHeights{0.5, 0.75, 1};

struct MeasuredLens {
    LensSetting setting;
    Lens lens;
    bool geometry = false;  ///< focal length, distortion and centre come from a chart
    bool shading = false;   ///< shading comes from flat fields
    double supported_radius_mm =
        0;  ///< from the picture's centre: how far data reached; 0: unknown
    double rms_px = 0;
    GeometrySigma geometry_sigma;
};

struct LensTable {
    Sensor sensor;
    std::vector<MeasuredLens> measured;
    std::string name;
};

struct LookedUp {
    Lens lens;  ///< focus and T-stop as asked for; focal_mm 0 without geometry
    bool geometry = false, shading = false;
    std::vector<std::string> warnings;
    /// What the setting does not say though the table's lens changes with it ("focus distance",
    /// "T-stop", "focal length"): the middle of what was measured stands for it in `lens`, which a
    /// job ought not to use.
    std::vector<std::string> missing;
    double supported_radius_mm = 0;  ///< how far the least supported chart reached; 0: unknown
    GeometrySigma geometry_sigma;    ///< of the setting that knows it least
};

/// A table made ready for many questions.
class LensLookup {
public:
    explicit LensLookup(const LensTable& table);
    [[nodiscard]] LookedUp at(const LensSetting& setting) const;
    /// How far the least supported chart reached, from the picture's centre; 0: unknown.
    [[nodiscard]] double supportedRadius_mm() const { return supported_radius_mm_; }

private:
    struct Kind;
    [[nodiscard]] SettingGrid::Found ask(const SettingGrid& grid, const Kind& kind,
                                         const LensSetting& setting, LookedUp* out) const;

    SettingGrid geometry_, shading_;
    DistortionDirection direction_ = DistortionDirection::recorded_to_flat;
    bool pupil_known_ = false;
    double pixel_mm_ = 0, supported_radius_mm_ = 0;
    GeometrySigma geometry_sigma_;
};

[[nodiscard]] LookedUp lensAt(const LensTable& table, const LensSetting& setting);

}  // namespace plateloom::calib
