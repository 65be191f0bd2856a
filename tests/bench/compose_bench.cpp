// The compose stage on 25 plates of 2048 x 1152 (three rows all round and one overhead), to an EXR:
// time and rate of each stage, peak memory, and the error against the light that the plates were
// painted from.
//     compose_bench [WIDTH]...      default: 8192 16384
#include <sys/resource.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "io/panorama_file.h"
#include "stitch/compose/compose.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::painted;

namespace {

// Detail down to a few plate pixels in every direction.
double light(const Vector3d& d) {
    return 0.6 + 0.15 * std::sin(150 * d.x() + 40 * d.z()) +
           0.15 * std::sin(130 * d.y() - 70 * d.z()) + 0.15 * std::sin(9 * d.x() * d.y());
}

Job shoot() {
    const calib::Sensor sensor{36, 20.25, 2048, 1152};
    calib::Lens lens = bendingLens();
    lens.focal_mm = 28;
    Job job;
    for (const double tilt : {-38.0, 0.0, 38.0})
        for (int k = 0; k < 8; ++k)
            job.add({45.0 * k + tilt / 3, tilt, 1}, lens, sensor, light, 1, true);
    job.add({0, 90, 0}, lens, sensor, light, 1, true);
    return job;
}

double peak_MiB() {
    rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return double(usage.ru_maxrss) / 1024;
}

void bench(const Job& job, int width) {
    stitch::ComposeSettings settings;
    settings.grid = latlong(width);
    const auto path = std::filesystem::temp_directory_path() / "plateloom_compose_bench.exr";
    io::PanoramaWriter::Format format;
    format.width = width;
    format.height = width / 2;
    io::PictureTags tags;
    tags.latlong = true;
    io::PanoramaWriter writer(path, format, tags);
    stitch::PlateStore store = job.store();
    double error = 0;
    size_t pixels = 0;
    const stitch::TileSink sink = [&](int x0, int y0, const io::Picture& tile) {
        for (int y = 0; y < tile.height; y += 16)  // a look here and there
            for (int x = 0; x < tile.width; x += 16) {
                if (tile.at(x, y)[3] == 0) continue;
                const double truth = light(settings.grid.directionAt(x0 + x + 0.5, y0 + y + 0.5));
                error += std::abs(double(tile.at(x, y)[0]) / truth - 1);
                ++pixels;
            }
        writer.write(x0, y0, tile);
    };
    const auto composed =
        stitch::compose(job.plates, store, settings, sink, [](const std::string&, double) {});
    writer.finish();
    for (const auto& time : composed.times)
        std::printf("%6d  %-8s %8.2f s %8.1f Mpix/s\n", width, time.stage.c_str(), time.seconds,
                    time.pixels * 1e-6 / time.seconds);
    std::printf(
        "%6d  covered %.4f, mean relative error %.6f, peak memory so far %.0f MiB "
        "(plates kept twice: %.0f MiB of it are the bench's own)\n",
        width, composed.covered_share, error / double(pixels), peak_MiB(),
        double(job.pixels.size()) * 2048 * 1152 * 8 / 1048576);
    std::filesystem::remove(path);
}

}  // namespace

int main(int argc, char** argv) {
    const Job job = shoot();
    if (argc < 2) {
        bench(job, 8192);
        bench(job, 16384);
    }
    for (int i = 1; i < argc; ++i) bench(job, std::atoi(argv[i]));
    return 0;
}
