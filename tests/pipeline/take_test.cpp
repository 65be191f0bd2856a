// A take filmed by an array: solved, steadied, composed frame by frame, beside its truth.
#include <catch2/catch.hpp>
#include <cmath>

#include "calib/angle.h"
#include "tests/take_on_disk.h"
#include "world/sequence_truth.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::test;

TEST_CASE("An array's mount is solved from all of the take, and its shake taken out") {
    Filmed filmed(smallArray());
    auto request = filmed.request("pano");
    request.solve.steady = Steady::lock;
    const auto result = stitchTake(request, silent);
    CHECK(result.made == 8);
    const auto errors = filmed.mountErrors();
    INFO("mount " << errors.rms_px << " px RMS at 640 px across");
    CHECK(errors.missing.empty());
    CHECK(errors.rms_px < 0.02);
    const auto shake =
        world::compareShake(filmed.shake(), filmed.truth(), errors.trueMountFromSolved);
    INFO("shake off by " << shake.rms_px << " of " << shake.true_rms_px << " px");
    CHECK(shake.frames == 8);
    CHECK(shake.rms_px < 0.05);
    CHECK(shake.true_rms_px > 10 * shake.rms_px);
}

TEST_CASE("Cameras that are loose on a mount are solved in their mean, and their turns taken out") {
    auto settings = smallArray();
    settings.width_px = 480;
    settings.height_px = 270;
    settings.moves = false;
    settings.iris_camera = 0;
    settings.own_shake_deg = 0.4;
    const Filmed filmed(settings);
    const Take take = gatherTake(filmed.arguments());
    const auto left_in = solveTake(take, {}, silent);
    CHECK(left_in.solved.taken_out.empty());
    CHECK(left_in.knocks.empty());
    CHECK(std::count_if(left_in.warnings.begin(), left_in.warnings.end(), [](const auto& line) {
              return line.find("loose") != std::string::npos;
          }) == 3);

    auto request = filmed.request("pano");
    request.solve.steady = Steady::lock;
    request.take.plates.frames = io::FrameRange{1004, 1004};
    CHECK(stitchTake(request, silent).made == 1);
    const auto errors = filmed.mountErrors();
    INFO("mount " << errors.rms_px << " px RMS at 480 px across");
    CHECK(errors.rms_px < 0.02);
    for (const auto& clip :
         world::compareSteadied(filmed.shake(), filmed.solve(), filmed.truth())) {
        INFO(clip.clip << " turned by " << clip.true_rms_px << " px, left " << clip.rms_px);
        CHECK(clip.frames == 8);
        CHECK(clip.true_rms_px > 0.5);
        CHECK(clip.rms_px < 0.03);
    }
    const auto read = readTakeSolve(filmed.folder / "mount.jsonl", take);
    CHECK(read.solved.taken_out.shared.size() == 8);
    CHECK(read.solved.taken_out.own[1].size() == 8);

    // Brought elsewhere alone, it names what stayed behind.
    const auto alone = filmed.folder / "alone.jsonl";
    std::filesystem::copy_file(filmed.folder / "mount.jsonl", alone);
    CHECK_THROWS_WITH(readTakeSolve(alone, take), Catch::Contains("alone.seams: is missing") &&
                                                      Catch::Contains("along with alone.jsonl"));
    std::filesystem::copy(filmed.folder / "mount.seams", filmed.folder / "alone.seams");
    CHECK_THROWS_WITH(readTakeSolve(alone, take), Catch::Contains("alone.shake.jsonl: is missing"));
}

TEST_CASE("Following, a mount that goes round does so smoothly, and the horizon stays level") {
    auto settings = smallArray();
    settings.cameras = 2;
    settings.frames = 24;
    settings.width_px = 320;
    settings.height_px = 180;
    settings.samples = 1;
    settings.iris_camera = 0;
    settings.moves = false;
    settings.measured_deg = 0;
    settings.shake.reach_deg = 0.4;
    settings.pan_deg_per_s = 6;
    const Filmed filmed(settings);
    const Take take = gatherTake(filmed.arguments());
    TakeSolveSettings follow;
    follow.steady = Steady::follow;
    writeTakeSolve(filmed.folder / "mount.jsonl", take, solveTake(take, follow, silent));

    // How the mount truly went, and how the panorama goes with what was taken out.
    const auto errors = filmed.mountErrors();
    std::vector<calib::Matrix3d> went, goes;
    for (const auto& [timecode_frame, pose] : filmed.truth().mountByTimecode())
        went.push_back(calib::worldFromCamera(pose) * errors.trueMountFromSolved);
    const auto shake = filmed.shake();
    REQUIRE(shake.size() == went.size());
    for (size_t i = 0; i < went.size(); ++i)
        goes.push_back(went[i] * calib::worldFromCamera(shake[i].turn).transpose());

    // Jerks from frame to frame go,
    const auto jerk_deg = [](const std::vector<calib::Matrix3d>& turns) {
        double squares = 0;
        for (size_t i = 1; i + 1 < turns.size(); ++i) {
            const calib::Matrix3d before = turns[i - 1].transpose() * turns[i],
                                  after = turns[i].transpose() * turns[i + 1];
            squares += std::pow(calib::angleBetween_deg(before, after), 2);
        }
        return std::sqrt(squares / double(turns.size() - 2));
    };
    INFO("jerks of " << jerk_deg(went) << " degrees become " << jerk_deg(goes));
    CHECK(jerk_deg(goes) < 0.15 * jerk_deg(went));
    // the way round stays as long as it was (23 frames of 6 degrees a second),
    const auto pan = [](const calib::Matrix3d& turn) { return calib::panTiltRoll(turn).pan_deg; };
    const double round_deg = pan(goes.back()) - pan(goes.front());
    CHECK(round_deg == Approx(6 * 23 / 24.0).margin(0.6));
    // and up is up, where the mount itself tipped.
    const auto tipsAtMost_deg = [](const std::vector<calib::Matrix3d>& turns) {
        double most = 0;
        for (const auto& turn : turns)
            most = std::max(most, calib::kDegPerRad * std::acos(std::min(1.0, turn(2, 2))));
        return most;
    };
    INFO("tips by " << tipsAtMost_deg(went) << ", with it out " << tipsAtMost_deg(goes));
    CHECK(tipsAtMost_deg(goes) < 0.25);
    CHECK(tipsAtMost_deg(goes) < 0.75 * tipsAtMost_deg(went));
}

TEST_CASE("In a static world under constant light nothing changes from frame to frame") {
    auto settings = smallArray();
    settings.moves = false;
    settings.shake.reach_deg = 0;
    settings.noise = 0;
    settings.iris_camera = 0;
    settings.frames = 4;
    Filmed filmed(settings);
    const auto result = stitchTake(filmed.request("pano"), silent);
    CHECK(result.solve.seams.parts.size() == 1);
    for (int number = result.first + 1; number <= result.last; ++number) {
        const auto change =
            world::frameChange(filmed.frame("pano", number - 1), filmed.frame("pano", number));
        CHECK(change.largest < 0.0005);
        CHECK_FALSE(change.cover_differs);
    }
}

TEST_CASE("Chunks together are the whole, bit for bit, and what is there is not made again") {
    auto settings = smallArray();
    settings.frames = 5;
    Filmed filmed(settings);
    CHECK(stitchTake(filmed.request("whole"), silent).made == 5);
    for (int k = 1; k <= 2; ++k) {
        auto request = filmed.request("part");
        request.chunk = Chunk{k, 2};
        CHECK(stitchTake(request, silent).solve_was_read);
    }
    for (int number = 1001; number <= 1005; ++number)
        CHECK(filmed.frame("whole", number).data == filmed.frame("part", number).data);

    auto again = filmed.request("whole");
    again.resume = true;
    // One frame is damaged in its middle, one was made otherwise.
    const auto damaged = filmed.folder / "whole.1002.exr";
    {
        std::fstream file(damaged, std::ios::in | std::ios::out | std::ios::binary);
        file.seekp(std::streamoff(std::filesystem::file_size(damaged) / 2));
        for (int i = 0; i < 400; ++i) file.put('\0');
    }
    std::filesystem::copy_file(filmed.folder / "whole.1001.exr", filmed.folder / "whole.1004.exr",
                               std::filesystem::copy_options::overwrite_existing);
    const auto resumed = stitchTake(again, silent);
    CHECK(resumed.made == 2);
    CHECK(resumed.kept == 3);
    CHECK(filmed.frame("whole", 1002).data == filmed.frame("part", 1002).data);
    CHECK(filmed.frame("whole", 1004).data == filmed.frame("part", 1004).data);

    // Other settings make other pictures.
    again.width = 512;
    CHECK(stitchTake(again, silent).made == 5);
}

TEST_CASE("An iris pull on one camera leaves the panorama's light as it is") {
    auto settings = smallArray();
    settings.moves = false;
    settings.shake.reach_deg = 0;
    settings.noise = 0;
    Filmed filmed(settings);
    const auto result = stitchTake(filmed.request("pano"), silent);
    const auto change = world::frameChange(filmed.frame("pano", int(result.first)),
                                           filmed.frame("pano", int(result.last)));
    INFO("median " << change.median << ", 99.9 % within " << change.p999);
    CHECK(change.median < 0.002);
    CHECK(change.p999 < 0.02);
}

TEST_CASE(
    "A knocked camera is found and, when asked, solved in two parts; a black one is left out") {
    auto settings = smallArray();
    settings.frames = 12;
    settings.knocks = {{3, 1007, 0.25}};
    settings.black = {{1, 1004, 1005}};
    Filmed filmed(settings);
    TakeArguments arguments = filmed.arguments();
    const Take take = gatherTake(arguments);
    const auto found = solveTake(take, {}, silent);
    REQUIRE(found.knocks.size() == 1);
    CHECK(take.clips[size_t(found.knocks[0].clip)].clip.name == "cam3");
    CHECK(found.knocks[0].frame == 1007);
    CHECK(calib::angleBetween_deg(calib::Matrix3d::Identity(), found.knocks[0].beforeFromAfter) ==
          Approx(0.25).epsilon(0.05));
    REQUIRE(found.solved.black.size() == 1);
    CHECK(found.solved.black[0].first == 1004);
    CHECK(found.solved.black[0].last == 1005);

    TakeSolveSettings split;
    split.split_knocked = true;
    const auto parts = solveTake(take, split, silent);
    writeTakeSolve(filmed.folder / "mount.jsonl", take, parts);
    const auto errors = filmed.mountErrors();
    CHECK(errors.each.size() == 4);
    CHECK(errors.rms_px < 0.03);
    const auto read = readTakeSolve(filmed.folder / "mount.jsonl", take);
    REQUIRE(read.solved.mount.cameras[2].standing.size() == 2);
    CHECK(read.solved.mount.cameras[2].standing[1].from_frame == 1007);
}

TEST_CASE("Whichever way the world is turned, cameras that stand apart stay where they stood") {
    auto settings = smallArray();
    settings.moves = false;
    settings.iris_camera = 0;
    settings.pupil_radius_m = 0.15;
    settings.cameras = 4;
    settings.frames = 6;
    const Filmed filmed(settings);
    const Take take = gatherTake(filmed.arguments());
    double tracked_px = 0;
    for (const auto& [level, north] : {std::pair{Level::automatic, ""},
                                       {Level::automatic, "cam3"},
                                       {Level::horizon, ""},
                                       {Level::none, ""},
                                       {Level::none, "cam3"}}) {
        TakeSolveSettings turned;
        turned.solve.level = level;
        turned.north = north;
        writeTakeSolve(filmed.folder / "mount.jsonl", take, solveTake(take, turned, silent));
        const auto errors = filmed.mountErrors();
        INFO("level " << int(level) << ", north " << north << ": " << errors.rms_px << " px");
        if (tracked_px == 0) tracked_px = errors.rms_px;
        CHECK(errors.rms_px < 0.1);
        CHECK(errors.rms_px < tracked_px + 0.01);
    }
}
