// Solves and composes four plates, as a program of somebody else's would.
#include <plateloom/stitch/compose/stitch_job.h>
#include <cstdio>
#include <exception>

using namespace plateloom;

int main(int argc, char** argv) try {
    if (argc != 7) return 2;
    stitch::StitchRequest request;
    request.solve.plates.plates = {argv[2], argv[3], argv[4], argv[5]};
    request.solve.plates.lens_tracks = {argv[1]};
    request.output = argv[6];
    request.width = 1024;
    const auto result = stitch::stitchJob(request, [](const std::string&, double) {});
    int placed = 0;
    for (const auto& plate : result.solve.plates) placed += plate.placed;
    std::printf("%d of 4 placed, %.3f px RMS, %.1f %% of the sphere\n", placed, result.solve.rms_px,
                100 * result.covered_share);
    return placed == 4 && result.solve.rms_px < 0.2 ? 0 : 1;
} catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
}
