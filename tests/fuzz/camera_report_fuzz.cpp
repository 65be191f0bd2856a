#include <cmath>

#include "io/lens_track.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(camera_report) {
    using namespace plateloom;
    fuzz::allowRefusal([&] {
        const auto report = io::readCameraReport(fuzz::fileOf(bytes, "report.csv"));
        fuzz::holds(!report.lines.empty(), "a report has lines");
        for (const auto& line : report.lines) {
            fuzz::holds(!line.file.empty(), "a line names a file");
            fuzz::holds(std::isfinite(line.pan_deg.value_or(0)), "angles are finite");
            fuzz::holds(line.focal_mm.value_or(1) > 0, "focal lengths are above 0");
        }
    });
}
