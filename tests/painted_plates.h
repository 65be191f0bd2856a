// Plates painted from a light that is a known function of direction, as a lens would record them.
#pragma once

#include <cmath>
#include <functional>
#include <limits>
#include <vector>

#include "calib/pose.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"
#include "stitch/resample/panorama_grid.h"

namespace plateloom::painted {

using calib::Vector2d;
using calib::Vector3d;
using stitch::PlacedPlate;
using stitch::PlateStore;

using Light = std::function<double(const Vector3d& direction)>;

/// A lens that bends and shades a good deal.
inline calib::Lens bendingLens() {
    calib::Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial = {2e-4, 0, 1e-8, 0, 0, 0};
    lens.shading = {8e-4, 1e-7, 0};
    return lens;
}

inline const calib::Sensor kSensor{36, 20.25, 320, 180};

/// R is the light, G half and B twice as much.
inline io::PlatePixels paint(const PlacedPlate& plate, const Light& light, double exposure,
                             bool half) {
    const auto& sensor = plate.lens.sensor();
    io::PlatePixels out;
    out.width = sensor.width_px;
    out.height = sensor.height_px;
    out.clip_level = std::numeric_limits<float>::infinity();
    for (int y = 0; y < out.height; ++y)
        for (int x = 0; x < out.width; ++x) {
            const Vector2d px(x + 0.5, y + 0.5);
            const auto ray = plate.lens.rayFromRecorded(px);
            const double value =
                light(plate.worldFromCamera * *ray) * plate.lens.transmission(px) * exposure;
            for (const double v : {value, 0.5 * value, 2 * value, 1.0})
                if (half)
                    out.half.push_back(io::halfFromFloat(float(v)));
                else
                    out.full.push_back(float(v));
        }
    return out;
}

struct Job {
    std::vector<PlacedPlate> plates;
    std::vector<io::PlatePixels> pixels;

    void add(const calib::PanTiltRoll& pose, const calib::Lens& lens, const calib::Sensor& sensor,
             const Light& light, double exposure = 1, bool half = false) {
        PlacedPlate plate;
        plate.plate = int(plates.size());
        plate.lens = calib::LensMap(lens, sensor);
        plate.worldFromCamera = calib::worldFromCamera(pose);
        plate.gain.fill(float(1 / exposure));
        pixels.push_back(paint(plate, light, exposure, half));
        plates.push_back(plate);
    }

    [[nodiscard]] PlateStore store() const {
        return PlateStore([this](int plate) { return pixels[size_t(plate)]; });
    }
};

/// Three rows all round, poles included.
inline Job wholeSphere(const Light& light, double exposure_swing = 0) {
    Job job;
    int i = 0;
    for (const double tilt : {-45.0, 0.0, 45.0})
        for (int k = 0; k < 8; ++k) {
            const double swing = 1 + exposure_swing * std::sin(1.7 * i++);
            job.add({45.0 * k + tilt / 9 + 3, tilt, 0.5}, bendingLens(), kSensor, light, swing);
        }
    job.add({10, 90, 0}, bendingLens(), kSensor, light);
    job.add({10, -90, 0}, bendingLens(), kSensor, light);
    return job;
}

inline stitch::PanoramaGrid latlong(int width) {
    stitch::PanoramaGrid grid;
    grid.width = width;
    grid.height = width / 2;
    return grid;
}

}  // namespace plateloom::painted
