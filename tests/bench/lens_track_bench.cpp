// Reading a long lens track: 100,000 samples of OpenTrackIO, static block in each, and as a CSV.
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "io/lens_track.h"

using namespace plateloom;

namespace {

constexpr int kSamples = 100000;

void writeJson(const std::filesystem::path& path) {
    std::ofstream out(path);
    for (int i = 0; i < kSamples; ++i)
        out << R"({"static":{"camera":{"activeSensorPhysicalDimensions":{"height":20.25,"width":36.0},)"
            << R"("activeSensorResolution":{"height":1152,"width":2048},"label":"A","isoSpeed":800},)"
            << R"("lens":{"nominalFocalLength":24.0,"serialNumber":"0007"}},"tracker":{"slate":"S1",)"
            << R"("recording":true,"status":"good"},"timing":{"mode":"external","sampleRate":{"num":24,)"
            << R"("denom":1},"timecode":{"hours":)" << i / 86400 % 24 << R"(,"minutes":)"
            << i / 1440 % 60 << R"(,"seconds":)" << i / 24 % 60 << R"(,"frames":)" << i % 24
            << R"(,"frameRate":{"num":24,"denom":1}}},"lens":{"distortion":[{"model":)"
            << R"("Brown-Conrady D-U","radial":[0.000123456789,-2.3456789e-7,1e-10],"tangential":)"
            << R"([1.234e-6,2.345e-6]}],"pinholeFocalLength":)" << 24 + 1e-5 * i
            << R"(,"focusDistance":7.5,"tStop":2.8,"exposureFalloff":{"a1":0.0003,"a2":1e-7}},)"
            << R"("protocol":{"name":"OpenTrackIO","version":[1,0,0]},"sampleId":)"
            << R"("urn:uuid:0d0c5b3e-6f0e-4c35-9c51-2f2f8a1f7a10","transforms":[{"translation":)"
            << R"({"x":0.1,"y":0.2,"z":1.7},"rotation":{"pan":)" << 1e-3 * i
            << R"(,"tilt":-3.25,"roll":0.5},"id":"Camera"}]})" << '\n';
}

void writeCsv(const std::filesystem::path& path) {
    std::ofstream out(path);
    out << "frame,focal_mm,focus_m,sensor_width_mm,k1,k2,k3,p1,p2,a1,a2,pan_deg,tilt_deg,roll_"
           "deg\n";
    for (int i = 0; i < kSamples; ++i)
        out << i << ',' << 24 + 1e-5 * i << ",7.5,36,0.000123456789,0,-2.3456789e-7,1.2e-6,2e-6,"
            << "0.0003,1e-7," << 1e-3 * i << ",-3.25,0.5\n";
}

void measure(const std::filesystem::path& path) {
    const auto start = std::chrono::steady_clock::now();
    const auto track = io::readLensTrack(path);
    const double seconds =
        std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    const double megabytes = double(std::filesystem::file_size(path)) / 1e6;
    std::printf("%-5s %zu samples, %.0f MB: %.2f s, %.0f MB/s\n", path.extension().c_str(),
                track.samples.size(), megabytes, seconds, megabytes / seconds);
    std::filesystem::remove(path);
}

}  // namespace

int main() {
    const auto folder = std::filesystem::temp_directory_path();
    writeJson(folder / "plateloom_bench_track.jsonl");
    measure(folder / "plateloom_bench_track.jsonl");
    writeCsv(folder / "plateloom_bench_track.csv");
    measure(folder / "plateloom_bench_track.csv");
}
