// Takes shot in turn by one camera whose head gives: each clip stands in the middle of its own
// wobble, and `--steady lock` takes that out, clip by clip.
#include <catch2/catch.hpp>
#include <cmath>

#include "tests/take_on_disk.h"
#include "world/sequence_truth.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::test;

namespace {

world::ArraySettings inTurn(double shake_deg) {
    auto settings = smallArray();
    settings.in_turn = true;
    settings.iris_camera = 0;
    settings.width_px = 480;
    settings.height_px = 270;
    settings.moves = false;
    settings.shake.reach_deg = shake_deg;
    return settings;
}

size_t saying(const std::vector<std::string>& lines, const std::string& text) {
    return size_t(std::count_if(lines.begin(), lines.end(), [&](const std::string& line) {
        return line.find(text) != std::string::npos;
    }));
}

}  // namespace

TEST_CASE("Each take's own shake is taken out, and the takes stand where they did in the mean") {
    const Filmed filmed(inTurn(0.5));
    auto request = filmed.request("whole");
    request.solve.steady = Steady::lock;
    const auto result = stitchTake(request, silent);
    CHECK(result.solve.knocks.empty());
    CHECK(saying(result.solve.notes, "taken out") == 3);
    CHECK(result.solve.seams.parts.size() == 1);
    const auto errors = filmed.mountErrors();
    INFO("mount " << errors.rms_px << " px RMS at 480 px across");
    CHECK(errors.missing.empty());
    CHECK(errors.rms_px < 0.02);
    const auto left = world::compareSteadied(filmed.shake(), filmed.solve(), filmed.truth());
    REQUIRE(left.size() == 3);
    for (const auto& clip : left) {
        INFO(clip.clip << " shook by " << clip.true_rms_px << " px, left " << clip.rms_px);
        CHECK(clip.frames == 8);
        CHECK(clip.true_rms_px > 1);
        CHECK(clip.rms_px < 0.02);
    }
    std::vector<world::FrameTurn> turns;
    for (int number = 1002; number <= 1008; ++number)
        turns.push_back(
            world::frameTurn(filmed.frame("whole", 1001), filmed.frame("whole", number)));
    const auto residual = world::residualShake(turns, 1024 / (2 * M_PI));
    INFO("panorama frames turn by " << residual.rms_px << " px of 1024 across");
    CHECK(residual.rms_px < 0.05);

    // What was taken out is read with the solve: chunks and frames alone are the same bits.
    for (int k = 1; k <= 2; ++k) {
        auto part = filmed.request("part");
        part.chunk = Chunk{k, 2};
        CHECK(stitchTake(part, silent).solve_was_read);
    }
    auto one = filmed.request("part");
    one.take.plates.frames = io::FrameRange{1007, 1007};
    CHECK(stitchTake(one, silent).made == 1);
    for (const int number : {1001, 1004, 1005, 1007, 1008})
        CHECK(filmed.frame("whole", number).data == filmed.frame("part", number).data);
    auto again = filmed.request("whole");
    again.resume = true;
    CHECK(stitchTake(again, silent).kept == 8);
}

TEST_CASE("Left in, a take's own shake is told of and its clip stands in the middle of it") {
    const Filmed filmed(inTurn(0.5));
    const Take take = gatherTake(filmed.arguments());
    const auto solve = solveTake(take, {}, silent);
    writeTakeSolve(filmed.folder / "mount.jsonl", take, solve);
    CHECK(filmed.mountErrors().rms_px < 0.02);
    CHECK(saying(solve.warnings, "--steady lock") == 3);
    CHECK(solve.solved.taken_out.empty());
    CHECK_FALSE(std::filesystem::exists(filmed.folder / "mount.shake.jsonl"));
}

TEST_CASE("Nothing is taken out of takes that stood still") {
    auto settings = inTurn(0);
    settings.frames = 6;
    settings.moves = true;
    const Filmed filmed(settings);
    const Take take = gatherTake(filmed.arguments());
    TakeSolveSettings lock;
    lock.steady = Steady::lock;
    writeTakeSolve(filmed.folder / "mount.jsonl", take, solveTake(take, lock, silent));
    CHECK(filmed.mountErrors().rms_px < 0.03);
    for (const auto& sample : filmed.shake())
        CHECK(calib::angleBetween_deg(calib::Matrix3d::Identity(),
                                      calib::worldFromCamera(sample.turn)) < 1e-9);
}

TEST_CASE("A head knocked while it sways is found, taken out with its sway, or solved in parts") {
    auto settings = inTurn(0.3);
    settings.frames = 12;
    settings.knocks = {{2, 1007, 0.8}};
    const Filmed filmed(settings);
    const Take take = gatherTake(filmed.arguments());
    TakeSolveSettings lock;
    lock.steady = Steady::lock;
    const auto whole = solveTake(take, lock, silent);
    REQUIRE(whole.knocks.size() == 1);
    CHECK(take.clips[size_t(whole.knocks[0].clip)].clip.name == "cam2");
    CHECK(whole.knocks[0].frame == 1007);
    CHECK(saying(whole.notes, "taken out with its shake") == 1);
    writeTakeSolve(filmed.folder / "mount.jsonl", take, whole);
    CHECK(filmed.mountErrors().rms_px < 0.02);
    for (const auto& clip : world::compareSteadied(filmed.shake(), filmed.solve(), filmed.truth()))
        CHECK(clip.rms_px < 0.02);

    lock.split_knocked = true;
    const auto parts = solveTake(take, lock, silent);
    REQUIRE(parts.solved.mount.cameras[1].standing.size() == 2);
    CHECK(parts.solved.mount.cameras[1].standing[1].from_frame == 1007);
    writeTakeSolve(filmed.folder / "mount.jsonl", take, parts);
    const auto errors = filmed.mountErrors();
    CHECK(errors.each.size() == 4);
    CHECK(errors.rms_px < 0.02);
    for (const auto& clip : world::compareSteadied(filmed.shake(), filmed.solve(), filmed.truth()))
        CHECK(clip.rms_px < 0.02);
}
