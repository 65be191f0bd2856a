// What is known of the plates' cameras while a solve goes on: where each one looks, and through
// what lens.
#pragma once

#include <optional>
#include <vector>

#include "stitch/plates/lens_correction.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

using calib::Matrix3d;

struct Cameras {
    std::vector<Plate> plates;                             ///< lenses as they came
    std::vector<LensCorrection> correction;                ///< one a lens group
    std::vector<double> breathing;                         ///< one a plate, see solve/bundle.h
    std::vector<std::optional<Matrix3d>> worldFromCamera;  ///< nullopt: has no place yet
    /// Plates of one part hang together by ties, and only they are compared; -1 for none.
    std::vector<int> part;

    [[nodiscard]] int size() const { return int(plates.size()); }
    [[nodiscard]] calib::Lens lens(int plate) const {
        return corrected(plates[plate], correction[plates[plate].lens_group], breathing[plate]);
    }
    [[nodiscard]] Matrix3d bFromA(int a, int b) const {
        return worldFromCamera[b]->transpose() * *worldFromCamera[a];
    }
};

/// The cameras before anything is solved. What a solve can't begin without is filled in: a sensor
/// width (full frame, 36 mm), a focal length (60 degrees across); distortion that is not known is
/// none.
[[nodiscard]] Cameras startingCameras(const std::vector<Plate>& plates);

/// All lenses, ready to use, as corrected so far.
[[nodiscard]] std::vector<calib::LensMap> lensMaps(const Cameras& cameras);

/// The poses that came with the plates, nullopt where none did.
[[nodiscard]] std::vector<std::optional<Matrix3d>> posesOf(const Cameras& cameras);

/// True when a lens track (or a measurement) gave both focal length and distortion.
[[nodiscard]] bool lensIsKnown(const Plate& plate);
[[nodiscard]] bool allLensesKnown(const Cameras& cameras);
/// True when not even the file's metadata gave a focal length.
[[nodiscard]] bool focalIsUnknown(const Plate& plate);

/// The plate's pixels for one of the picture that features are found in; errors of matches are in
/// proportion to it.
[[nodiscard]] double detectorPixel(const Plate& plate);

}  // namespace plateloom::stitch
