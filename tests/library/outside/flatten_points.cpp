// Flattens points and a plate with its lens track, as a program of somebody else's would.
#include <plateloom/io/lens_track.h>
#include <plateloom/stitch/flatten/flatten.h>
#include <cmath>
#include <cstdio>
#include <exception>

namespace {

using namespace plateloom;

// The largest distance, pixels, by which a point misses itself after there and back.
double roundTrip_px(const calib::LensMap& lens) {
    double worst = 0;
    for (int y = 0; y <= 4; ++y)
        for (int x = 0; x <= 4; ++x) {
            const calib::Vector2d recorded(lens.sensor().width_px * x / 4.0,
                                           lens.sensor().height_px * y / 4.0);
            const auto ray = lens.rayFromRecorded(recorded);
            const auto back = ray ? lens.recordedFromRay(*ray) : std::nullopt;
            worst = std::max(worst, back ? (*back - recorded).norm() : 1e9);
        }
    return worst;
}

}  // namespace

int main(int argc, char** argv) try {
    if (argc != 4) return 2;
    const io::LensTrack track = io::readLensTrack(argv[1]);
    const io::LensSample& sample = track.samples.front();
    const io::PlateFile plate = io::readPlateHeader(argv[2]);
    const calib::Sensor sensor{sample.sensor_width_mm.value(), sample.sensor_height_mm.value(),
                               plate.width, plate.height};
    const calib::LensMap lens(sample.lens, sensor);
    bool clamped = false;
    const auto flat =
        stitch::flattenPlate(io::readPlatePixels(plate), lens, stitch::Fit::overscan, &clamped);
    io::writePicture(argv[3], flat.picture, io::tagsOf(plate), true, flat.window);
    std::printf("round trip %.3g px, flat %d x %d of %d x %d\n", roundTrip_px(lens),
                flat.picture.width, flat.picture.height, plate.width, plate.height);
    return roundTrip_px(lens) < 1e-6 && flat.picture.width > plate.width ? 0 : 1;
} catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
}
