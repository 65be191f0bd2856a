// viewJob: which pose, lens and panorama each frame of a shot gets, what is written under which
// name, what is kept, what is told. What a view shows: view_test.cpp.
#include "stitch/view/view_job.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "calib/pose.h"
#include "io/input_error.h"
#include "tests/frames_on_disk.h"
#include "tests/moving_panorama_on_disk.h"
#include "tests/painted_panorama.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using Catch::Contains;
using test::Folder;

namespace {

constexpr int kWidth = 96, kHeight = 54;
const calib::Sensor kSensor{36, 20.25, kWidth, kHeight};

calib::PanTiltRoll poseOf(int frame) {
    return {20.0 + 4 * (frame - 1001), -5.0 + (frame - 1001), 0.5 * (frame - 1001)};
}
double focalOf(int frame) {
    return 24 + 1.5 * (frame - 1001);
}

// Frames 1001 to 1004; 1003 has no pose.
void writeTrack(const Folder& folder) {
    std::string track = "frame,pan_deg,tilt_deg,roll_deg,focal_mm,sensor_width_mm,k1,a1\n";
    for (int frame = 1001; frame <= 1004; ++frame) {
        if (frame == 1003) continue;
        char line[200];
        const auto pose = poseOf(frame);
        std::snprintf(line, sizeof line, "%d,%.9g,%.9g,%.9g,%.9g,36,1e-4,5e-4\n", frame,
                      pose.pan_deg, pose.tilt_deg, pose.roll_deg, focalOf(frame));
        track += line;
    }
    test::put(folder / "camera.csv", track);
}

PanoramaGrid grid() {
    PanoramaGrid out;
    out.width = 512;
    out.height = 256;
    return out;
}

struct Shot {
    Folder folder;
    ViewRequest request;

    Shot() {
        writeTrack(folder);
        static const painted::WaveWorld waves(12 / grid().pixelsPerRadian());
        painted::writePanorama(folder / "pano.exr", grid(), {}, waves);
        request.panorama = folder / "pano.exr";
        request.track = folder / "camera.csv";
        request.size = FrameSize{kWidth, kHeight};
        request.output = folder / "views/bg.####.exr";
        request.half = false;
    }
    [[nodiscard]] std::filesystem::path view(int frame) const {
        return folder / ("views/bg." + std::to_string(frame) + ".exr");
    }
};

ViewResult made(const ViewRequest& request) {
    return viewJob(request, [](const std::string&, double) {});
}

// The largest difference between a written view and what the camera of a frame sees.
double errorOf(const Shot& shot, const std::filesystem::path& path, int frame, Look look) {
    calib::Lens lens;
    lens.focal_mm = focalOf(frame);
    lens.distortion.radial[0] = 1e-4;
    lens.shading.a1 = 5e-4;
    const ViewCamera camera{calib::LensMap(lens, kSensor), calib::worldFromCamera(poseOf(frame))};
    const io::PanoramaReader panorama(shot.request.panorama, "", size_t(16) << 20);
    const auto view = test::readFrame(path);
    const PixelBounds bounds{view.spec.x, view.spec.y, view.spec.x + view.spec.width,
                             view.spec.y + view.spec.height};
    const View expected = renderView(panorama, grid(), camera, look, bounds);
    REQUIRE(view.data.size() == expected.picture.data.size());
    double worst = 0;
    for (size_t i = 0; i < view.data.size(); ++i)
        worst = std::max(worst, double(std::abs(view.data[i] - expected.picture.data[i])));
    return worst;
}

}  // namespace

TEST_CASE("Each frame of a shot is seen from its own pose and through its own lens", "[view_job]") {
    const Shot shot;
    const ViewResult result = made(shot.request);
    REQUIRE(result.frames.size() == 3);
    const int numbers[] = {1001, 1002, 1004};
    for (size_t i = 0; i < 3; ++i) {
        CHECK(result.frames[i].number == numbers[i]);
        CHECK(result.frames[i].path == shot.view(numbers[i]));
        CHECK(result.frames[i].covered == 1);
        CHECK_FALSE(result.frames[i].was_there);
        CHECK(errorOf(shot, shot.view(numbers[i]), numbers[i], Look::lens) < 1e-6);
    }
    // Another frame's camera sees something else.
    CHECK(errorOf(shot, shot.view(1002), 1001, Look::lens) > 0.05);
    CHECK((result.size.width == kWidth && result.size.height == kHeight));
    REQUIRE(result.missing.size() == 1);
    CHECK(result.missing[0].number == 1003);
}

TEST_CASE("A flat view reaches beyond the frame, as far as its lens needs or as was asked",
          "[view_job]") {
    Shot shot;
    shot.request.look = Look::flat;
    shot.request.frames = io::FrameRange{1002, 1002};
    (void)made(shot.request);
    const auto needed = test::readFrame(shot.view(1002));
    CHECK(needed.spec.width > kWidth);
    CHECK(needed.spec.full_width == kWidth);
    CHECK(errorOf(shot, shot.view(1002), 1002, Look::flat) < 1e-6);
    shot.request.overscan = 1.5;
    shot.request.output = shot.folder / "views/wide.exr";
    (void)made(shot.request);
    const auto wide = test::readFrame(shot.request.output);
    CHECK(wide.spec.width == Approx(1.5 * kWidth).margin(2));
    CHECK(wide.spec.height == Approx(1.5 * kHeight).margin(2));
}

TEST_CASE("A still is one frame, of the pose and the focal length that were given", "[view_job]") {
    Shot shot;
    shot.request.track.reset();
    shot.request.still = poseOf(1004);
    shot.request.focal_mm = 24;
    shot.request.sensor_width_mm = 36;
    shot.request.output = shot.folder / "still.exr";
    const ViewResult result = made(shot.request);
    REQUIRE(result.frames.size() == 1);
    calib::Lens pinhole;
    pinhole.focal_mm = 24;
    const io::PanoramaReader panorama(shot.request.panorama, "", size_t(16) << 20);
    const View expected = renderView(
        panorama, grid(), {calib::LensMap(pinhole, kSensor), calib::worldFromCamera(poseOf(1004))},
        Look::lens, wholeFrame(kSensor));
    CHECK((test::readFrame(shot.request.output).data == expected.picture.data));
}

TEST_CASE("A chunk makes its own views, --resume keeps what is made already", "[view_job]") {
    Shot shot;
    shot.request.chunk = Chunk{2, 3};
    ViewResult result = made(shot.request);
    REQUIRE(result.frames.size() == 1);
    CHECK(result.frames[0].number == 1002);
    shot.request.chunk.reset();
    shot.request.resume = true;
    result = made(shot.request);
    REQUIRE(result.frames.size() == 3);
    for (const auto& frame : result.frames) {
        CHECK(frame.was_there == (frame.number == 1002));
        CHECK(frame.covered == 1);
    }
}

TEST_CASE("Each frame is seen in the panorama frame of its number, moved on by the slip",
          "[view_job]") {
    Shot shot;
    shot.request.panorama = shot.folder / "pano.####.exr";
    shot.request.slip = 2;
    for (int frame = 1003; frame <= 1006; ++frame)
        test::writePanoramaFrame(shot.folder / ("pano." + std::to_string(frame) + ".exr"), {},
                                 frame);
    const ViewResult result = made(shot.request);
    REQUIRE(result.frames.size() == 3);
    for (const auto& frame : result.frames) {
        const auto view = test::readFrame(frame.path);
        // The panorama's frame is one even light; the middle of the view has no shading.
        CHECK(view.at(kWidth / 2, kHeight / 2, 0) ==
              Approx(test::panoramaLight(frame.number + 2)).epsilon(1e-3));
    }
}

TEST_CASE("What is wrong with a shot is said before anything is written", "[view_job]") {
    Shot shot;
    const auto fault = [&] {
        try {
            (void)made(shot.request);
        } catch (const io::InputError& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    shot.request.output = shot.folder / "views/bg.exr";
    CHECK_THAT(fault(), Contains("####"));
    shot.request.output = shot.folder / "views/bg.####.exr";
    shot.request.size.reset();
    CHECK_THAT(fault(), Contains("--size"));
    shot.request.size = FrameSize{kWidth, kHeight};
    shot.request.frames = io::FrameRange{2001, 2010};
    CHECK_THAT(fault(), Contains("2001"));
    CHECK_FALSE(std::filesystem::exists(shot.folder / "views"));
}
