#include "world/mount_truth.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "calib/angle.h"
#include "world/array_take.h"
#include "world/noise.h"
#include "world/sequence_truth.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

TrueTake truthOf(const ArrayTake& take) {
    TrueTake truth{take.settings.rate, {}, take.settings.in_turn};
    for (const Clip& clip : take.clips) {
        TrueClip out{clip.name, clip.name + ".####.exr", 1600, {}, {}};
        for (size_t i = 0; i < clip.frames.size(); ++i)
            out.frames.push_back({clip.frames[i].number, clip.shoot.plates[i].frame,
                                  clip.frames[i].mount, clip.frames[i].on_mount, 1, 2.8,
                                  clip.shoot.plates[i].time_s, clip.frames[i].own});
        out.parts.push_back(clip.frames.front().on_mount);
        if (!take.settings.knocks.empty() && take.settings.knocks[0].camera == 2 &&
            clip.name == "cam2")
            out.parts.push_back(clip.frames.back().on_mount);
        truth.clips.push_back(out);
    }
    return truth;
}

io::SolvedPlate solved(const std::string& file, const calib::Matrix3d& solvedMountFromCamera) {
    io::SolvedPlate line;
    line.file = file;
    line.placed = true;
    line.pose = calib::panTiltRoll(solvedMountFromCamera);
    return line;
}

const calib::Matrix3d kTurn = calib::worldFromCamera({31, -4, 2});

// A picture with detail at every scale that a patch can hold on to, shifted round the sphere.
io::Picture texture(int width, const calib::Matrix3d& worldFromPicture, float gain = 1) {
    io::Picture out(width, width / 2, 4, 1.0f);
    for (int y = 0; y < out.height; ++y)
        for (int x = 0; x < width; ++x) {
            const Vector3d d = latlong(width, width / 2, worldFromPicture)(x + 0.5, y + 0.5);
            const double pan = std::atan2(-d.x(), d.y()), tilt = std::asin(d.z());
            const float n = octaves(float(pan * 14), float(tilt * 14), 3, 0.6f, 5);
            for (int c = 0; c < 3; ++c) out.at(x, y)[c] = gain * (0.3f + 0.2f * n);
        }
    return out;
}

}  // namespace

TEST_CASE("A solve that is right but for its mount's axes has no error; one camera off shows",
          "[array]") {
    const ArrayTake take = planArray({});
    const TrueTake truth = truthOf(take);
    std::vector<io::SolvedPlate> solve;
    for (const Clip& clip : take.clips)
        solve.push_back(solved(clip.name + ".####.exr",
                               kTurn.transpose() * calib::worldFromCamera(clip.on_mount)));
    const MountErrors right = compareMount(solve, truth);
    CHECK(right.rms_px < 1e-6);
    CHECK(calib::angleBetween_deg(right.trueMountFromSolved, kTurn) < 1e-9);
    CHECK(right.missing.empty());

    solve[3].pose.pan_deg += 0.1;
    const MountErrors off = compareMount(solve, truth);
    const double px = 1600 * 0.1 * calib::kRadPerDeg;
    CHECK(off.largest_px == Approx(0.8 * px).epsilon(0.05));  // a fifth goes into the alignment
    solve.erase(solve.begin() + 1);
    CHECK(compareMount(solve, truth).missing == std::vector<std::string>{"cam2"});
}

TEST_CASE("How a knocked camera was solved after the knock is held against how it stood then",
          "[array]") {
    ArraySettings s;
    s.knocks = {{2, 1020, 0.4}};
    const ArrayTake take = planArray(s);
    std::vector<io::SolvedPlate> solve;
    for (const Clip& clip : take.clips) {
        solve.push_back(
            solved(clip.name + ".####.exr", calib::worldFromCamera(clip.frames[0].on_mount)));
        solve.back().clip.emplace();
        if (clip.name == "cam2")
            solve.back().clip->knocked.push_back({1020, clip.frames[47].on_mount});
    }
    const MountErrors errors = compareMount(solve, truthOf(take));
    CHECK(errors.each.size() == 6);
    CHECK(errors.largest_px < 1e-6);
    solve[1].clip->knocked[0].pose = take.clips[1].frames[0].on_mount;  // as if nothing had been
    CHECK(compareMount(solve, truthOf(take)).largest_px > 1600 * 0.3 * calib::kRadPerDeg);
}

TEST_CASE("A shake track is compared after one turn of its world, whatever the mount's axes",
          "[array]") {
    const ArrayTake take = planArray({});
    const TrueTake truth = truthOf(take);
    const calib::Matrix3d world = calib::worldFromCamera({-70, 5, 1});
    std::vector<io::ShakeSample> track;
    for (size_t i = 0; i < 48; ++i)
        track.push_back({1001 + int64_t(i),
                         io::timecodeOf(take.clips[0].shoot.plates[i].frame, {24, 1}, false),
                         calib::panTiltRoll(
                             world * calib::worldFromCamera(take.clips[0].frames[i].mount) * kTurn),
                         ""});
    const ShakeErrors right = compareShake(track, truth, kTurn);
    CHECK(right.frames == 48);
    CHECK(right.rms_px < 1e-6);
    CHECK(right.true_rms_px > 1);
    for (size_t i = 0; i < 48; i += 2) track[i].turn.tilt_deg += 0.01;
    const ShakeErrors off = compareShake(track, truth, kTurn);
    CHECK(off.rms_px == Approx(1600 * 0.005 * calib::kRadPerDeg).epsilon(0.05));
    track[3].timecode->hours = 1;
    CHECK(compareShake(track, truth, kTurn).not_in_take == 1);
}

namespace {

// A solve that puts every clip in the mean of where it looked (on its mount, where it shares one),
// and a track of what it did besides.
struct Steadied {
    std::vector<io::SolvedPlate> solve;
    std::vector<io::ShakeSample> track;
};
Steadied rightlySteadied(const ArrayTake& take) {
    Steadied out;
    const auto& shared = take.clips.front().frames;
    const auto sharedAt = [&](size_t i) -> calib::Matrix3d {
        if (take.settings.in_turn) return calib::Matrix3d::Identity();
        return kTurn.transpose() * calib::worldFromCamera(shared[i].mount) * kTurn;
    };
    for (size_t i = 0; i < shared.size() && !take.settings.in_turn; ++i)
        out.track.push_back({1001 + int64_t(i), std::nullopt, calib::panTiltRoll(sharedAt(i)), ""});
    for (const Clip& clip : take.clips) {
        std::vector<calib::Matrix3d> looked;
        calib::Matrix3d sum = calib::Matrix3d::Zero();
        for (size_t i = 0; i < clip.frames.size(); ++i) {
            looked.emplace_back(sharedAt(i).transpose() * kTurn.transpose() *
                                calib::worldFromCamera(clip.shoot.plates[i].pose));
            sum += looked.back();
        }
        const calib::Matrix3d mean = calib::nearestRotation(sum);
        const std::string file = clip.name + ".####.exr";
        out.solve.push_back(solved(file, mean));
        out.solve.back().clip.emplace();
        out.solve.back().clip->first = 1001;
        out.solve.back().clip->last = 1000 + int64_t(looked.size());
        for (size_t i = 0; i < looked.size(); ++i)
            out.track.push_back({1001 + int64_t(i), std::nullopt,
                                 calib::panTiltRoll(looked[i] * mean.transpose()), file});
    }
    return out;
}

}  // namespace

TEST_CASE("A clip that turns by itself stands in its mean, and what is left of its turns is told",
          "[array]") {
    ArraySettings in_turn, loose;
    in_turn.in_turn = true;
    in_turn.knocks = {{2, 1020, 0.4}};
    loose.own_shake_deg = 0.2;
    for (const ArraySettings& s : {in_turn, loose}) {
        const ArrayTake take = planArray(s);
        const TrueTake truth = truthOf(take);
        auto [solve, track] = rightlySteadied(take);
        CHECK(compareMount(solve, truth).rms_px < 1e-6);
        for (const SteadyError& clip : compareSteadied(track, solve, truth)) {
            CHECK(clip.frames == 48);
            CHECK(clip.rms_px < 1e-6);
            CHECK(clip.true_rms_px > 1);
        }
        // Left in, all of it is left.
        for (const SteadyError& clip : compareSteadied({}, solve, truth))
            CHECK(clip.rms_px == Approx(clip.true_rms_px).epsilon(0.02));
        solve[3].pose.pan_deg += 0.1;
        CHECK(compareMount(solve, truth).largest_px > 2);
        // Its mean being off does not count as shake.
        CHECK(compareSteadied(track, solve, truth)[3].rms_px < 0.1);
    }
}

TEST_CASE("The change from frame to frame is that of the worst pixel, and says where", "[array]") {
    const io::Picture a = texture(128, calib::Matrix3d::Identity());
    io::Picture b = a;
    CHECK(frameChange(a, b).largest == 0);
    b.at(40, 20)[1] = 1.01f * (a.at(40, 20)[1] + 0.001f);
    const FrameChange change = frameChange(a, b);
    CHECK(change.largest == Approx(0.01 + 0.001 / (a.at(40, 20)[1] + 0.001)).epsilon(1e-3));
    CHECK(change.x == 40);
    CHECK(change.y == 20);
    CHECK(change.median == 0);
    CHECK_FALSE(change.cover_differs);
    b.at(3, 3)[3] = 0;
    CHECK(frameChange(a, b).cover_differs);
}

TEST_CASE("A frame's turn against another is found to hundredths of a pixel, light free",
          "[array]") {
    constexpr int kWidth = 1024;
    const double px_deg = 360.0 / kWidth;
    const io::Picture a = texture(kWidth, calib::Matrix3d::Identity());
    const calib::PanTiltRoll small{0.35 * px_deg, -0.2 * px_deg, 0.15 * px_deg};
    // What a has at d, b shows at turn d.
    const calib::Matrix3d turn = calib::worldFromCamera(small);
    const FrameTurn found = frameTurn(a, texture(kWidth, turn.transpose(), 1.1f));
    const Vector3d real =
        Vector3d(turn(2, 1) - turn(1, 2), turn(0, 2) - turn(2, 0), turn(1, 0) - turn(0, 1)) / 2;
    const double px_per_rad = kWidth / (2 * calib::kPi);
    CHECK(found.patches > 100);
    CHECK((found.turn_rad - real).norm() * px_per_rad < 0.02);
    CHECK(frameTurn(a, a).turn_px < 1e-4);

    FrameTurn there = found, back = found;
    back.turn_rad = -found.turn_rad;
    const ResidualShake shake = residualShake({there, back}, px_per_rad);
    // Turns of 0, +t and -t about their mean of nothing.
    CHECK(shake.rms_px ==
          Approx(std::sqrt(2.0 / 3) * found.turn_rad.norm() * px_per_rad).epsilon(1e-6));
}
