#include "stitch/plates/lens_correction.h"

#include <algorithm>
#include <utility>

#include "calib/lens_blend.h"
#include "stitch/plates/upright_picture.h"

namespace plateloom::stitch {

calib::Lens withTermsAdded(const calib::Lens& to, const LensTerms& term,
                           const calib::Sensor& sensor) {
    const double h = sensor.halfDiagonal_mm(), h2 = h * h;
    calib::Lens lens = to;
    lens.distortion.radial[0] += term[kC1] / h2;
    lens.distortion.radial[2] += term[kC2] / (h2 * h2);
    lens.distortion.radial[4] += term[kC3] / (h2 * h2 * h2);
    lens.distortion.tangential[0] += term[kP1] / h;
    lens.distortion.tangential[1] += term[kP2] / h;
    return lens;
}

calib::Lens corrected(const Plate& plate, const LensCorrection& correction, double breathing) {
    if (plate.quarter_turn != 0) {
        Plate recorded = plate;
        recorded.quarter_turn = 0;
        recorded.lens = turned(plate.lens, -plate.quarter_turn);
        std::swap(recorded.sensor.width_mm, recorded.sensor.height_mm);
        std::swap(recorded.sensor.width_px, recorded.sensor.height_px);
        return turned(corrected(recorded, correction, breathing), plate.quarter_turn);
    }
    const auto& term = correction.term;
    calib::Lens lens = plate.lens;
    if (plate.distortion_known && plate.refocused && breathing != 1) {
        const double share = (breathing - 1) / (plate.refocused->focal_mm / lens.focal_mm - 1);
        lens = calib::blendLenses(lens, *plate.refocused, std::clamp(share, -4.0, 5.0));
        lens.shading = plate.lens.shading;
        lens.focal_mm *= term[kScale];
    } else {
        lens.focal_mm *= term[kScale] * breathing;
    }
    const Vector2d axis_mm(term[kAxisX], term[kAxisY]);
    const double h = plate.sensor.halfDiagonal_mm(), h2 = h * h;
    lens.projection_offset_mm += axis_mm;
    if (plate.distortion_known) {
        // The distortion stays where it is on the sensor.
        lens.distortion_offset_mm -= axis_mm;
        return withTermsAdded(lens, term, plate.sensor);
    }
    const double c1 = term[kC1] + term[kC1ByBreathing] * (plate.known_breathing * breathing - 1);
    lens.distortion = {};
    lens.distortion.radial = {c1 / h2, 0, term[kC2] / (h2 * h2), 0, term[kC3] / (h2 * h2 * h2), 0};
    lens.distortion.tangential = {term[kP1] / h, term[kP2] / h};
    lens.distortion_offset_mm = {term[kCentreX], term[kCentreY]};
    return lens;
}

}  // namespace plateloom::stitch
