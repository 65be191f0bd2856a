// Reads the header of a picture file that is made of arbitrary bytes.
#pragma once

#include <cmath>

#include "io/plate_file.h"
#include "tests/fuzz/fuzz_target.h"

namespace plateloom::fuzz {

inline void readHeader(const std::filesystem::path& path) {
    allowRefusal([&] {
        const auto file = io::readPlateHeader(path);
        holds(file.width > 0 && file.height > 0, "a plate has a size");
        holds(std::isfinite(file.pixel_aspect) && file.pixel_aspect > 0, "an aspect is above 0");
        for (const auto& value : {file.focal_mm, file.focal_35mm_equivalent, file.sensor_width_mm,
                                  file.f_stop, file.t_stop, file.iso, file.shutter_s})
            holds(!value || (std::isfinite(*value) && *value >= 0), "settings are finite");
        if (const auto timecode = file.timecode(); timecode && file.frame_rate)
            (void)io::frameNumber(*timecode, *file.frame_rate);
        (void)io::tagsOf(file);
    });
}

}  // namespace plateloom::fuzz
