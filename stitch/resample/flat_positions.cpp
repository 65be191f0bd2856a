#include "stitch/resample/flat_positions.h"

namespace plateloom::stitch {

std::optional<calib::Vector2d> flatFromRecorded(const calib::LensMap& lens,
                                                const calib::Vector2d& recorded_px) {
    const auto mm = lens.flatFromRecorded_mm(mmFromPixel(lens.sensor(), recorded_px));
    if (!mm) return std::nullopt;
    return pixelFromMm(lens.sensor(), *mm);
}

std::optional<calib::Vector2d> recordedFromFlat(const calib::LensMap& lens,
                                                const calib::Vector2d& flat_px) {
    const auto mm = lens.recordedFromFlat_mm(mmFromPixel(lens.sensor(), flat_px));
    if (!mm) return std::nullopt;
    return pixelFromMm(lens.sensor(), *mm);
}

}  // namespace plateloom::stitch
