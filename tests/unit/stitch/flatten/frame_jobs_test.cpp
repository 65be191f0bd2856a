// flattenJob and unflattenJob: which lens each frame gets, what is written under which name, what
// is kept, and what is told of it. How one frame is flattened: flatten_test.cpp.
#include <catch2/catch.hpp>
#include <cmath>

#include "io/input_error.h"
#include "io/output_guard.h"
#include "stitch/flatten/flatten_job.h"
#include "stitch/flatten/unflatten_job.h"
#include "tests/frames_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using test::Folder;

namespace {

constexpr int kWidth = 96, kHeight = 54, kFirst = 1001, kFrames = 4;
const calib::Sensor kSensor{24, 13.5, kWidth, kHeight};

std::string nameOf(int frame, const char* type = ".exr") {
    return "shot." + std::to_string(frame) + type;
}

// Each frame has a focus of its own, and with it a distortion and a shading.
double pullOf(int frame) {
    return 1.5 * (frame - kFirst);
}
calib::LensMap lensOf(int frame) {
    return calib::LensMap(test::frameLens(pullOf(frame)), kSensor);
}

void writeTrack(const Folder& folder, double more_pull = 0) {
    std::string track = test::kTrackHead;
    for (int frame = kFirst; frame < kFirst + kFrames; ++frame) {
        std::string line = test::trackLine("", frame, pullOf(frame) + more_pull);
        line.replace(line.find(",24,36,"), 7, ",24,24,");  // the sensor's width
        track += line;
    }
    test::put(folder / "lens.csv", track);
}

// A slope of light, which every filter keeps: of the place in the frame, and of the frame.
double lightOf(int frame, const calib::Vector2d& px) {
    return 0.2 + 0.01 * px.x() + 0.004 * px.y() + 0.1 * (frame - kFirst);
}

template <class Job>
Job jobIn(const Folder& folder) {
    Job job;
    job.plates.plates = {(folder / "in").string()};
    job.plates.lens_tracks = {folder / "lens.csv"};
    job.folder = folder / "out";
    job.half = false;
    return job;
}

void nothing(const std::string&, double) {}

std::vector<std::string> namesOf(const std::vector<std::filesystem::path>& paths) {
    std::vector<std::string> names;
    for (const auto& path : paths) names.push_back(path.filename().string());
    return names;
}

// Plates that show the slope flat: recorded through each frame's lens.
void writeRecorded(const Folder& folder) {
    writeTrack(folder);
    std::filesystem::create_directories(folder / "in");
    for (int frame = kFirst; frame < kFirst + kFrames; ++frame) {
        const calib::LensMap lens = lensOf(frame);
        OIIO::ImageSpec spec = test::rgbaSpec(kWidth, kHeight);
        test::writeFrame(folder / ("in/" + nameOf(frame)), spec, [&](double x, double y, int c) {
            if (c == 3) return 1.0;
            const auto flat = lens.flatFromRay(*lens.rayFromRecorded({x, y}));
            return lightOf(frame, *flat) * lens.transmission({x, y});
        });
    }
}

// Flat frames that hold the slope, `border` pixels more than the frame on every side.
void writeFlat(const Folder& folder, int border) {
    writeTrack(folder);
    std::filesystem::create_directories(folder / "in");
    for (int frame = kFirst; frame < kFirst + kFrames; ++frame) {
        OIIO::ImageSpec spec = test::rgbaSpec(kWidth + 2 * border, kHeight + 2 * border);
        spec.x = spec.y = -border;
        spec.full_x = spec.full_y = 0;
        spec.full_width = kWidth;
        spec.full_height = kHeight;
        test::writeFrame(folder / ("in/" + nameOf(frame)), spec, [&](double x, double y, int c) {
            return c == 3 ? 1.0 : lightOf(frame, {x, y});
        });
    }
}

}  // namespace

TEST_CASE("Each frame is flattened by the lens of its own moment", "[flatten_job]") {
    const Folder folder;
    writeRecorded(folder);
    for (const Fit fit : {Fit::overscan, Fit::inside}) {
        auto job = jobIn<FlattenJob>(folder);
        job.folder = folder / (fit == Fit::inside ? "inside" : "overscan");
        job.fit = fit;
        const MadeFrames made = flattenJob(job, nothing);
        CHECK(namesOf(made.written) ==
              std::vector<std::string>{nameOf(1001), nameOf(1002), nameOf(1003), nameOf(1004)});
        CHECK(made.kept.empty());
        CHECK_FALSE(made.has_holes);
        for (int frame = kFirst; frame < kFirst + kFrames; ++frame) {
            const auto flat = test::readFrame(job.folder / nameOf(frame));
            // The frame is the display window, what the lens needs is the data window.
            CHECK(flat.spec.full_width == kWidth);
            CHECK(flat.spec.full_height == kHeight);
            CHECK((flat.spec.width > kWidth) == (fit == Fit::overscan));
            int compared = 0;
            double worst = 0;
            for (int y = flat.spec.y + 4; y < flat.spec.y + flat.spec.height - 4; ++y)
                for (int x = flat.spec.x + 4; x < flat.spec.x + flat.spec.width - 4; ++x) {
                    const calib::LensMap lens = lensOf(frame);
                    const calib::Vector2d px(x + 0.5, y + 0.5);
                    const auto there = lens.recordedFromRay(lens.rayFromFlat(px));
                    if (!there || there->x() < 4 || there->y() < 4 || there->x() > kWidth - 4 ||
                        there->y() > kHeight - 4)
                        continue;
                    worst = std::max(worst, std::abs(flat.at(x, y, 0) - lightOf(frame, px)));
                    ++compared;
                }
            CHECK(compared > kWidth * kHeight / 2);
            CHECK(worst < 5e-4);  // of a light of up to 1.6; the next frame's lens errs by 4e-3
        }
    }
}

TEST_CASE("Flat frames get the lens look of their own moment", "[unflatten_job]") {
    const Folder folder;
    writeFlat(folder, 12);
    const auto job = jobIn<FrameJob>(folder);
    const UnflattenedFrames made = unflattenJob(job, nothing);
    CHECK(made.written.size() == kFrames);
    CHECK(made.uncovered.empty());
    for (int frame = kFirst; frame < kFirst + kFrames; ++frame) {
        const auto look = test::readFrame(job.folder / nameOf(frame));
        CHECK(look.spec.width == kWidth);
        CHECK(look.spec.height == kHeight);
        CHECK((look.spec.x == 0 && look.spec.y == 0));
        const calib::LensMap lens = lensOf(frame);
        double worst = 0;
        for (int y = 0; y < kHeight; ++y)
            for (int x = 0; x < kWidth; ++x) {
                const calib::Vector2d px(x + 0.5, y + 0.5);
                const auto flat = lens.flatFromRay(*lens.rayFromRecorded(px));
                worst = std::max(worst, std::abs(look.at(x, y, 1) -
                                                 lightOf(frame, *flat) * lens.transmission(px)));
                REQUIRE(look.at(x, y, 3) == 1);
            }
        CHECK(worst < 5e-4);
    }
}

TEST_CASE("A flat frame that does not reach as far as the lens is named, with the share it lacks",
          "[unflatten_job]") {
    const Folder folder;
    writeFlat(folder, -8);  // too small on every side
    const UnflattenedFrames made = unflattenJob(jobIn<FrameJob>(folder), nothing);
    REQUIRE(made.uncovered.size() == kFrames);
    for (int i = 0; i < kFrames; ++i) {
        const calib::LensMap lens = lensOf(kFirst + i);
        int without = 0;
        for (int y = 0; y < kHeight; ++y)
            for (int x = 0; x < kWidth; ++x) {
                const auto flat = lens.flatFromRay(*lens.rayFromRecorded({x + 0.5, y + 0.5}));
                without += flat->x() < 8 || flat->y() < 8 || flat->x() > kWidth - 8 ||
                           flat->y() > kHeight - 8;
            }
        CHECK(made.uncovered[size_t(i)].file == nameOf(kFirst + i));
        CHECK(made.uncovered[size_t(i)].share ==
              Approx(double(without) / (kWidth * kHeight)).margin(0.03));
    }
}

TEMPLATE_TEST_CASE("A chunk makes its own frames, and --resume keeps what is made already",
                   "[flatten_job][unflatten_job]", FlattenJob, FrameJob) {
    const auto go = [](const TestType& job) -> MadeFrames {
        if constexpr (std::is_same_v<TestType, FlattenJob>)
            return flattenJob(job, nothing);
        else
            return unflattenJob(job, nothing);
    };
    const Folder folder;
    writeRecorded(folder);
    auto job = jobIn<TestType>(folder);
    job.chunk = Chunk{2, 2};
    CHECK(namesOf(go(job).written) == std::vector<std::string>{nameOf(1003), nameOf(1004)});

    job.chunk.reset();
    job.resume = true;
    MadeFrames made = go(job);
    CHECK(namesOf(made.written) == std::vector<std::string>{nameOf(1001), nameOf(1002)});
    CHECK(namesOf(made.kept) == std::vector<std::string>{nameOf(1003), nameOf(1004)});

    // Frames made with another lens are not kept: they are this program's, and may be replaced. One
    // that somebody has changed since is left alone.
    writeTrack(folder, 1);
    made = go(job);
    CHECK(made.written.size() == kFrames);
    CHECK(made.kept.empty());
    CHECK(go(job).kept.size() == kFrames);
    test::put(job.folder / nameOf(1002), "somebody's own");
    CHECK_THROWS_AS(go(job), io::OutputRefused);
    CHECK(test::contents(job.folder / nameOf(1002)) == "somebody's own");
}

TEMPLATE_TEST_CASE("Pixels that are not finite are told of, and more than a few are holes",
                   "[flatten_job][unflatten_job]", FlattenJob, FrameJob) {
    const Folder folder;
    writeTrack(folder);
    std::filesystem::create_directories(folder / "in");
    const int bad = GENERATE(3, kWidth * kHeight / 4);
    OIIO::ImageSpec spec = test::rgbaSpec(kWidth, kHeight);
    int left = bad;
    test::writeFrame(folder / ("in/" + nameOf(kFirst)), spec, [&](double, double y, int c) {
        return c == 0 && y > 20 && left-- > 0 ? std::nan("") : 1.0;
    });
    MadeFrames made;
    if constexpr (std::is_same_v<TestType, FlattenJob>)
        made = flattenJob(jobIn<FlattenJob>(folder), nothing);
    else
        made = unflattenJob(jobIn<FrameJob>(folder), nothing);
    REQUIRE(made.warnings.size() == 1);
    INFO(made.warnings[0]);
    CHECK(made.warnings[0].find(nameOf(kFirst)) != std::string::npos);
    CHECK(made.warnings[0].find(std::to_string(bad)) != std::string::npos);
    CHECK(made.has_holes == (bad > 3));
}
