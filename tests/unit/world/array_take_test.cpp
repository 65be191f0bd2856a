#include "world/array_take.h"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <set>

#include "calib/angle.h"
#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/plate_file.h"
#include "world/array_recording.h"
#include "world/mount_truth.h"
#include "world/timecode_label.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

ArraySettings smallArray() {
    ArraySettings s;
    s.cameras = 3;
    s.frames = 4;
    s.width_px = 64;
    s.height_px = 36;
    return s;
}

struct Folder {
    std::filesystem::path path =
        std::filesystem::temp_directory_path() / ("plateloom-array-" + std::to_string(::getpid()));
    Folder() { std::filesystem::create_directories(path); }
    ~Folder() { std::filesystem::remove_all(path); }
};

bool sees(const Clip& clip, size_t frame, const Vector3d& place) {
    const PlannedPlate& plate = clip.shoot.plates[frame];
    const calib::LensMap lens(plate.lens, clip.shoot.sensor);
    const auto px = lens.recordedFromRay(calib::worldFromCamera(plate.pose).transpose() *
                                         (place - plate.origin_m));
    return px && lens.inPicture(*px);
}

// Both sides of whoever runs, waist high.
std::vector<Vector3d> runnerAt(const ArrayTake& take, const PlannedPlate& plate) {
    const Runner& runner = *take.scene.runner;
    const Vector2d at = runner.from_m + *plate.time_s * runner.speed_mps;
    const Vector2d aside = 0.3 * runner.speed_mps.normalized();
    return {{at.x() - aside.x(), at.y() - aside.y(), -0.6},
            {at.x() + aside.x(), at.y() + aside.y(), -0.6}};
}

}  // namespace

TEST_CASE("Neighbours overlap by a quarter to a third, and the runner crosses two overlaps whole",
          "[array]") {
    for (const uint32_t seed : {1u, 2u, 3u}) {
        ArraySettings s;
        s.seed = s.scene.seed = seed;
        const ArrayTake take = planArray(s);
        REQUIRE(take.clips.size() == 5);
        const size_t middle = 2;
        for (size_t side : {middle - 1, middle + 1}) {
            // Seen by the middle camera and its neighbour: not at first, then, then no more.
            int both = 0, first_both = -1, last_both = -1;
            for (size_t frame = 0; frame < 48; ++frame) {
                const auto places = runnerAt(take, take.clips[middle].shoot.plates[frame]);
                const bool here = sees(take.clips[middle], frame, places[0]) &&
                                  sees(take.clips[middle], frame, places[1]) &&
                                  sees(take.clips[side], frame, places[0]) &&
                                  sees(take.clips[side], frame, places[1]);
                both += here;
                if (here) last_both = int(frame);
                if (here && first_both < 0) first_both = int(frame);
            }
            CHECK(both >= 4);
            CHECK(first_both > 0);
            CHECK(last_both < 47);
            CHECK(both == last_both - first_both + 1);
        }
        CHECK(take.scene.runner->speed_mps.norm() < 6);
        for (size_t i = 0; i + 1 < 5; ++i) {
            const calib::LensMap lens(take.clips[i].shoot.plates[0].lens,
                                      take.clips[i].shoot.sensor);
            int shared = 0, all = 0;
            for (double x = 24; x < 2048; x += 48)
                for (double y = 24; y < 1152; y += 48, ++all) {
                    const Vector3d ray =
                        calib::worldFromCamera(take.clips[i].shoot.plates[0].pose) *
                        *lens.rayFromRecorded({x, y});
                    shared += sees(take.clips[i + 1], 0, 1000 * ray);
                }
            CHECK(double(shared) / all > 0.22);
            CHECK(double(shared) / all < 0.36);
        }
    }
}

TEST_CASE("The mount shakes by pixels from frame to frame, smoothly, and its cameras with it",
          "[array]") {
    const ArrayTake take = planArray({});
    double most_px = 0;
    for (const Clip& clip : take.clips)
        for (size_t i = 0; i < clip.frames.size(); ++i) {
            const calib::Matrix3d mount = calib::worldFromCamera(clip.frames[i].mount);
            CHECK(calib::angleBetween_deg(mount * calib::worldFromCamera(clip.on_mount),
                                          calib::worldFromCamera(clip.shoot.plates[i].pose)) <
                  1e-9);
            CHECK((clip.shoot.plates[i].origin_m - mount * clip.pupil_m).norm() < 1e-12);
            if (i == 0) continue;
            const double px =
                1600 * calib::kRadPerDeg *
                calib::angleBetween_deg(mount, calib::worldFromCamera(clip.frames[i - 1].mount));
            most_px = std::max(most_px, px);
        }
    CHECK(most_px > 2);
    CHECK(most_px < 10);
    ArraySettings still;
    still.shake.reach_deg = 0;
    const ArrayTake quiet = planArray(still);
    CHECK(quiet.clips[0].shoot.plates[0].pose.pan_deg ==
          quiet.clips[0].shoot.plates[47].pose.pan_deg);
}

TEST_CASE("The tracks place the sensors so that the entrance pupils come out where they are",
          "[array]") {
    const Folder folder;
    ArraySettings s = smallArray();
    s.measured_deg = s.measured_m = 0;
    for (const double radius_m : {0.0, 0.15}) {
        s.pupil_radius_m = radius_m;
        const ArrayTake take = planArray(s);
        for (const Clip& clip : take.clips) {
            writeClipTrack(folder.path / "cam.jsonl", clip);
            const io::LensTrack track = io::readLensTrack(folder.path / "cam.jsonl");
            REQUIRE(track.samples.size() == 4);
            CHECK(track.warnings.empty());
            for (size_t i = 0; i < 4; ++i) {
                const io::LensSample& sample = track.samples[i];
                // OpenTrackIO: the translation is the sensor's, the pupil lies ahead of it.
                const Vector3d pupil = *sample.translation_m +
                                       calib::worldFromCamera(*sample.pose) *
                                           Vector3d(0, *sample.lens.entrance_pupil_offset_m, 0);
                CHECK((pupil - clip.pupil_m).norm() < 1e-9);
                CHECK(pupil.norm() == Approx(radius_m).margin(1e-9));
                CHECK(sample.lens.t_stop == clip.shoot.plates[i].lens.t_stop);
                CHECK(sample.clip == clip.name);
                CHECK(sample.timecode ==
                      io::timecodeOf(clip.shoot.plates[i].frame, {24, 1}, false));
            }
        }
    }
}

TEST_CASE("One iris closes by a stop over a dozen frames: its track says so and its plates darken",
          "[array]") {
    const ArrayTake take = planArray({});
    for (size_t c = 0; c < 5; ++c) {
        const auto& plates = take.clips[c].shoot.plates;
        const double stops = 2 * std::log2(*plates[47].lens.t_stop / *plates[0].lens.t_stop);
        const double darker = std::log2(plates[0].exposure / plates[47].exposure);
        CHECK(stops == Approx(c == 1 ? 1.029 : 0).margin(0.01));
        CHECK(darker == Approx(stops).margin(1e-9));
        int moving = 0;
        for (size_t i = 1; i < 48; ++i)
            moving += plates[i].lens.t_stop != plates[i - 1].lens.t_stop;
        CHECK(moving == (c == 1 ? 12 : 0));
        CHECK((plates[47].lens.shading.a1 < plates[0].lens.shading.a1) == (c == 1));
    }
}

TEST_CASE("Knocked, black, lost and ragged frames are where they were asked for", "[array]") {
    const Folder folder;
    ArraySettings s = smallArray();
    s.scene.light = Light::constant;
    s.moves = false;
    s.noise = 0;
    s.ragged_frames = 3;
    s.knocks = {{2, 1003, 0.5}};
    s.black = {{1, 1001, 1002}};
    s.missing = {{3, 1002, 1002}};
    const ArrayTake take = planArray(s);
    std::set<int64_t> begins;
    for (const Clip& clip : take.clips) begins.insert(clip.shoot.plates[0].frame);
    CHECK(begins.size() >= 2);
    const auto& knocked = take.clips[1].frames;
    const auto turn = [&](size_t a, size_t b) {
        return calib::angleBetween_deg(calib::worldFromCamera(knocked[a].on_mount),
                                       calib::worldFromCamera(knocked[b].on_mount));
    };
    CHECK(turn(0, 1) == Approx(0).margin(1e-9));
    CHECK(turn(1, 2) == Approx(0.5).epsilon(0.01));
    CHECK(turn(2, 3) == Approx(0).margin(1e-9));

    writeTake(folder.path, take);
    CHECK_FALSE(std::filesystem::exists(folder.path / "cam3.1002.exr"));
    CHECK(std::filesystem::exists(folder.path / "cam3.1003.exr"));
    const auto middle = [&](const char* name) {
        const auto pixels = io::readPlatePixels(io::readPlateHeader(folder.path / name));
        float rgba[4];
        pixels.read(32, 18, rgba);
        return rgba[1];
    };
    CHECK(middle("cam1.1002.exr") == 0);
    CHECK(middle("cam1.1003.exr") > 0.4f);

    const TrueTake truth = readTrueTake(folder.path / "truth" / "mount.json");
    REQUIRE(truth.clips.size() == 3);
    CHECK(truth.clips[0].parts.size() == 1);
    CHECK(truth.clips[1].parts.size() == 2);
    for (size_t c = 0; c < 3; ++c)
        for (size_t i = 0; i < take.clips[c].frames.size(); ++i) {
            const TrueFrame& frame = truth.clips[c].frames[i];
            CHECK(frame.number == take.clips[c].frames[i].number);
            CHECK(frame.timecode_frame == take.clips[c].shoot.plates[i].frame);
            CHECK(frame.mount.pan_deg == take.clips[c].frames[i].mount.pan_deg);
            CHECK(frame.exposure == take.clips[c].shoot.plates[i].exposure);
        }

    s.knocks = {{9, 1001, 1}};
    CHECK_THROWS_AS(planArray(s), io::InputError);
    s.knocks = {{1, 1, 1}};
    CHECK_THROWS_AS(planArray(s), io::InputError);
}

TEST_CASE("While nothing moves frames are alike to the bit but for noise and iris", "[array]") {
    ArraySettings s = smallArray();
    s.shake.reach_deg = 0;
    s.moves = false;
    s.noise = 0;
    s.iris_camera = 0;
    const Folder folder;
    const ArrayTake take = planArray(s);
    writeTake(folder.path, take);
    const auto pixelsOf = [&](const char* name) {
        return io::readPlatePixels(io::readPlateHeader(folder.path / name)).half;
    };
    CHECK(pixelsOf("cam2.1001.exr") == pixelsOf("cam2.1004.exr"));
    CHECK(pixelsOf("cam2.1001.exr") != pixelsOf("cam1.1001.exr"));
}

TEST_CASE("A mount that goes round takes its cameras with it, and shakes as it would", "[array]") {
    ArraySettings s = smallArray();
    const ArrayTake stays = planArray(s);
    s.pan_deg_per_s = 12;
    const ArrayTake goes = planArray(s);
    for (size_t i = 0; i < goes.clips[1].frames.size(); ++i) {
        const auto &before = stays.clips[1].frames[i].mount, &now = goes.clips[1].frames[i].mount;
        CHECK(now.pan_deg - before.pan_deg == Approx(0.5 * double(i)).margin(1e-9));
        CHECK(now.tilt_deg == before.tilt_deg);
    }
}

TEST_CASE("In turn: one camera's lens, takes a minute and more apart, and the world moves on",
          "[array]") {
    ArraySettings s = smallArray();
    s.in_turn = true;
    s.pupil_radius_m = 0;
    s.iris_camera = 0;
    const ArrayTake take = planArray(s);
    for (size_t i = 1; i < 3; ++i) {
        const PlannedPlate &before = take.clips[i - 1].shoot.plates[0],
                           &now = take.clips[i].shoot.plates[0];
        CHECK(now.frame - before.frame > 24 * 60);
        CHECK(*now.time_s - *before.time_s > 60);
        CHECK(now.lens.focal_mm == before.lens.focal_mm);
        CHECK(take.clips[i].serial == take.clips[0].serial);
    }
}

TEST_CASE("Plates carry their timecode at every rate, pairs and field mark above 30", "[array]") {
    const Folder folder;
    for (const Rate rate :
         {Rate{24000, 1001, false}, Rate{24, 1, false}, Rate{25, 1, false}, Rate{30000, 1001, true},
          Rate{30, 1, false}, Rate{50, 1, false}, Rate{60000, 1001, true}, Rate{60, 1, false}}) {
        ArraySettings s = smallArray();
        s.cameras = 1;
        s.frames = 6;
        s.scene.light = Light::constant;
        s.moves = false;
        s.rate = rate;
        const ArrayTake take = planArray(s);
        writeTake(folder.path, take);
        for (const PlannedPlate& plate : take.clips[0].shoot.plates) {
            const auto file = io::readPlateHeader(folder.path / plate.file);
            REQUIRE(file.timecode());
            CHECK(io::frameNumber(*file.timecode(), {rate.num, rate.denom}) == plate.frame);
        }
        // The take begins before a new minute and ends after it.
        CHECK(labelOf(take.clips[0].shoot.plates.front().frame, rate).minutes !=
              labelOf(take.clips[0].shoot.plates.back().frame, rate).minutes);
    }
}

TEST_CASE("A lamp flickers, and the walls round it with it; by their truth scenes come back",
          "[array]") {
    const ArrayTake take = planArray({});
    const Scene scene(take.scene);
    const Flicker& flicker = *take.scene.flicker;
    double low = 2, high = -1;
    for (double t = 0; t < 2; t += 1.0 / 24) {
        low = std::min<double>(low, levelAt(flicker, t));
        high = std::max<double>(high, levelAt(flicker, t));
        CHECK(std::abs(levelAt(flicker, t) - levelAt(flicker, t + 1e-4)) < 1e-2);
    }
    CHECK(low < 0.8);
    CHECK(high <= 1);
    double dark_s = 0, lit_s = 0;
    for (double t = 0; t < 2; t += 1.0 / 24) {
        if (levelAt(flicker, t) == Approx(low)) dark_s = t;
        if (levelAt(flicker, t) == Approx(high)) lit_s = t;
    }
    const Vector3d lamp = scene.plan().lamps[size_t(flicker.lamp)].centre;
    const auto radiance = [&](const Vector3d& place, double time_s) {
        return scene.seenFrom(Vector3d::Zero(), time_s).radiance(place.normalized()).mean();
    };
    CHECK(radiance(lamp, dark_s) / radiance(lamp, lit_s) == Approx(low / high).epsilon(0.02));
    const Vector3d before(0.8 * lamp.x(), 0.8 * lamp.y(), kGround_m);
    CHECK(radiance(before, dark_s) < 0.95 * radiance(before, lit_s));

    const Folder folder;
    writeScene(folder.path / "scene.json", take.scene);
    const SceneSettings back = readScene(folder.path / "scene.json");
    CHECK(back.flicker->lamp == flicker.lamp);
    CHECK(back.runner->speed_mps == take.scene.runner->speed_mps);
    CHECK(back.runner->from_m == take.scene.runner->from_m);
}
