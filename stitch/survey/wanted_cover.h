// Which directions a shoot set out to cover, and which of them no plate sees.
//
// A person may say it in degrees. Otherwise the shoot's own rows say it: plates at about one tilt
// are a row, and the band between the lower joints of the lowest row and the upper joints of the
// highest is wanted all along the rows. Between two neighbours a frame's edge sags; the joints that
// are no worse than the row's usual ones set the band, so that a sound shoot has no hole at its
// rim, and a plate that was left out has.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stitch/survey/cover.h"

namespace plateloom::stitch {

/// What a person asks for; whatever is not said follows from the rows.
struct CoverRequest {
    std::optional<std::pair<double, double>> pan_deg, tilt_deg;  ///< low, high
};

/// Plates at about one tilt, in the order of falling pan (an operator turns to the right).
struct PlateRow {
    double tilt_deg = 0;
    std::vector<int> plates;  ///< indices into the frames
    bool closed = false;      ///< goes all the way round (a gap of two plates still counts)
};

struct WantedCover {
    double low_deg = 0, high_deg = 0;  ///< tilts; low above high: nothing is wanted
    bool all_round = false;
    double first_pan_deg = 0, last_pan_deg = 0;  ///< from left to right (falling), unless all round

    [[nodiscard]] bool wants(double pan_deg, double tilt_deg) const;
    [[nodiscard]] std::string inWords() const;
};

[[nodiscard]] std::vector<PlateRow> plateRows(const std::vector<SphereFrame>& frames);

[[nodiscard]] WantedCover wantedCover(const std::vector<SphereFrame>& frames,
                                      const std::vector<PlateRow>& rows,
                                      const CoverRequest& request);

/// A part of what is wanted that no plate sees.
struct Hole {
    double pan_deg = 0, tilt_deg = 0;      ///< its middle, pan in (-180, 180]
    double width_deg = 0, height_deg = 0;  ///< on the sphere: width is shorter than in pan
    double area_deg2 = 0;
    std::vector<PanTilt_deg> outline;  ///< closed, pan unwrapped
};

/// Largest first. Found where they are 0.4 degrees across; `map` has cells of 0.2 degrees or less.
[[nodiscard]] std::vector<Hole> holesIn(const CoverMap& map, const WantedCover& wanted);

}  // namespace plateloom::stitch
