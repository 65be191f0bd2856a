#include "stitch/plan/plan_wish.h"

#include <cmath>
#include <cstdio>

#include "io/input_error.h"
#include "io/lens_track.h"

namespace plateloom::stitch {

namespace {

// The sample that sees least: what it covers, all others do. Its sensor fills what was not typed.
calib::Lens readLens(const std::string& path, calib::Sensor* sensor,
                     std::vector<std::string>* notes) {
    const io::LensTrack track = io::readLensTrack(path);
    for (const auto& warning : track.warnings) notes->push_back("warning: " + warning);
    const io::LensSample* least = nullptr;
    for (const io::LensSample& sample : track.samples)
        // Of a lens table, what was measured on charts comes before the number engraved.
        if (sample.has_focal && (!least || (least->focal_is_nominal && !sample.focal_is_nominal) ||
                                 (least->focal_is_nominal == sample.focal_is_nominal &&
                                  sample.lens.focal_mm > least->lens.focal_mm)))
            least = &sample;
    if (!least)
        throw io::InputError(path, "says no focal length; give --focal, or a track that does");
    if (sensor->width_mm <= 0 && least->sensor_width_mm) {
        sensor->width_mm = *least->sensor_width_mm;
        sensor->height_mm = least->sensor_height_mm.value_or(0);
    }
    if (sensor->width_px == 0 && least->sensor_width_px && least->sensor_height_px) {
        sensor->width_px = *least->sensor_width_px;
        sensor->height_px = *least->sensor_height_px;
    }
    if (track.samples.size() > 1)
        notes->push_back("the lens as in " + whereIs(track, *least) +
                         ", the longest focal length of the track");
    return least->lens;
}

// Either of the two may follow from the other, where pixels are square.
void completeSensor(calib::Sensor* sensor, std::vector<std::string>* notes) {
    if (!(sensor->width_mm > 0))
        throw io::OptionError("--sensor", "is needed: the active area in mm, e.g. 36x20.25");
    if (sensor->width_px == 0) {
        if (!(sensor->height_mm > 0))
            throw io::OptionError("--sensor", "needs both lengths, e.g. 36x20.25");
        sensor->width_px = 4096;
        sensor->height_px =
            std::max(1, int(std::lround(4096 * sensor->height_mm / sensor->width_mm)));
        notes->push_back("no --size given: " + std::to_string(sensor->width_px) + "x" +
                         std::to_string(sensor->height_px) + " pixels are taken");
    }
    if (!(sensor->height_mm > 0))
        sensor->height_mm = sensor->width_mm * sensor->height_px / sensor->width_px;
    const double squareness = sensor->mmPerPixelX() / sensor->mmPerPixelY();
    constexpr int kMost_px = 65536;
    for (const int edge : {sensor->width_px, sensor->height_px})
        if (edge < 1 || edge > kMost_px)
            throw io::OptionError(
                "--size", std::to_string(edge) + " pixels is not a size that a plate can have");
    constexpr double kNearlySquare = 0.01;
    if (std::abs(squareness - 1) > kNearlySquare) {
        char text[160];
        std::snprintf(text, sizeof text,
                      "warning: %g x %g mm over %d x %d pixels makes pixels that are not square "
                      "(%.3f wide for 1 high)",
                      sensor->width_mm, sensor->height_mm, sensor->width_px, sensor->height_px,
                      squareness);
        notes->push_back(text);
    }
}

}  // namespace

PlanWish planWish(const PlanRequest& request, std::vector<std::string>* notes) {
    PlanWish wish;
    calib::Sensor sensor = request.sensor;
    calib::Lens lens;
    if (!request.lens_track.empty()) {
        if (request.focal_mm > 0)
            throw io::OptionError("--focal", "is given beside --lens, which says it too; keep one");
        lens = readLens(request.lens_track, &sensor, notes);
    } else if (request.focal_mm > 0) {
        lens.focal_mm = request.focal_mm;
    } else {
        throw io::OptionError("--focal", "is needed, or a lens track with --lens");
    }
    completeSensor(&sensor, notes);
    wish.lens = calib::LensMap(lens, sensor);
    wish.overlap = request.overlap_percent / 100;
    std::tie(wish.pan_from_deg, wish.pan_to_deg) = request.pan_deg;
    std::tie(wish.tilt_from_deg, wish.tilt_to_deg) = request.tilt_deg;
    wish.zenith = request.zenith, wish.nadir = request.nadir;
    if (const auto fault = faultOf(wish)) throw io::OptionError("plan", *fault);
    return wish;
}

}  // namespace plateloom::stitch
