// What a row of plates covers and how its plates overlap, as functions of tilt and spacing. Angles
// in degrees; a plate's roll is 0.
#pragma once

#include <optional>
#include <vector>

#include "calib/frame_outline.h"

namespace plateloom::stitch {

class RowShapes {
public:
    /// `overlap` is what neighbours must share of their pictures (0 to 1).
    RowShapes(const calib::LensMap& lens, double overlap);

    [[nodiscard]] const calib::FrameOutline& outline() const { return outline_; }

    struct Band {
        double low_deg = 0, high_deg = 0;
    };
    /// Tilts that a plate at this tilt sees at every pan up to `half_pan_deg` to either side;
    /// nullopt when there are none. -90 and 90 mean that the pole is inside.
    [[nodiscard]] std::optional<Band> band(double tilt_deg, double half_pan_deg) const;

    /// Overlap of two plates whose pans differ.
    [[nodiscard]] double overlap(double tilt_a_deg, double tilt_b_deg, double pan_deg) const;

    /// The widest step of pan at which neighbours in a row still overlap enough, up to 180.
    [[nodiscard]] double widestStep_deg(double tilt_deg) const;
    /// How far apart in pan plates of two rows may stand and still overlap enough, up to 180;
    /// negative where no pan suffices.
    [[nodiscard]] double widestOffset_deg(double tilt_a_deg, double tilt_b_deg) const;

private:
    [[nodiscard]] std::optional<Band> seenAt(double tilt_deg, double pan_deg) const;
    [[nodiscard]] double widest(double tilt_a_deg, double tilt_b_deg) const;

    calib::FrameOutline outline_;
    std::vector<calib::Vector3d> rays_;
    double overlap_;
};

}  // namespace plateloom::stitch
