// What pictures of a flat field say of one lens: its shading at each setting, and all that a
// person needs to judge it. Plain values; the report's page and the command's summary are made from
// it.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "calib/field_shading.h"
#include "calib/lens_table.h"

namespace plateloom::stitch {

/// Cells of one ring of radii, all pictures of a setting, the lamp and the level divided out.
struct ShadingRing {
    double radius_mm = 0;      ///< mean of the cells
    double light = 0;          ///< median; 1 is the picture's centre
    double low = 0, high = 0;  ///< one tenth and nine tenths of the cells lie below
    int cells = 0;
};

/// How much light is missing at one image height, in stops below the centre (so above 0 is darker).
struct FalloffAt {
    double share = 0;      ///< of half the frame's diagonal
    double radius_mm = 0;  ///< recorded
    double stops = 0;      ///< as measured
    /// The cosine-fourth law at this height and focal length, and what is left of `stops` without
    /// it: vignetting by the barrel and the pupil's own behaviour; below 0 for a lens that keeps
    /// more light in its corners than the law gives. Nullopt where no focal length is known.
    std::optional<double> natural_stops, mechanical_stops;
    /// Against the smallest iris of the same focus and focal length: what opening up adds.
    std::optional<double> opened_stops;
};

struct ShadingSetting {
    calib::LensSetting setting;
    bool stop_is_f_number = false;
    calib::Shading shading;
    double corner_sigma = 0;  ///< one-sigma of the transmission in the frame's corner
    double rms = 0;           ///< of the used cells, relative
    int pictures = 0, used_cells = 0, ignored_cells = 0;
    std::vector<ShadingRing> profile;  ///< by rising radius
    std::vector<FalloffAt> heights;    ///< at 0.5, 0.75 and 1 of half the diagonal
    std::vector<FalloffAt> curve;      ///< from the middle to the corner, to be drawn
};

struct ShadingPicture {
    std::string file;
    int setting = 0;   ///< which of ShadingMeasurement::settings
    double level = 0;  ///< linear light in the middle
    double grain = 0;  ///< a pixel's noise, relative
    calib::Lamp lamp;
    double lamp_tilt_stops = 0;    ///< across the frame, along the steepest way
    int columns = 0, rows = 0;     ///< of cells
    std::vector<double> residual;  ///< ln(measured / fitted), row by row; NaN without light
    std::vector<uint8_t> used;
    int used_cells = 0, ignored_cells = 0, clipped_cells = 0;
    double rms = 0;
};

struct ShadingMeasurement {
    calib::Sensor sensor;
    int terms = 0;
    std::array<double, 3> held_out{};  ///< RMS of cells left out, with one, two and three terms
    bool bow_separated = false;
    double rms = 0;
    std::vector<ShadingSetting> settings;
    std::vector<ShadingPicture> pictures;  ///< in the order they were given
    std::vector<std::string> notes;
    std::vector<std::string> warnings;  ///< what a person must see: exit status 1

    /// What goes into LENS.json.
    [[nodiscard]] calib::LensTable table() const;
};

}  // namespace plateloom::stitch
