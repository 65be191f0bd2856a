// Compares a solve of a mount, the shake found in it and its panorama sequence with the truth of a
// rendered take.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <iostream>
#include <nlohmann/json.hpp>

#include "calib/angle.h"
#include "io/input_error.h"
#include "io/plate_file.h"
#include "world/mount_truth.h"
#include "world/sequence_truth.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;
using nlohmann::json;

namespace {

struct Arguments {
    std::filesystem::path take, solve, shake;
    std::vector<std::string> panoramas;
    int width = 2048, truth_every = 0;
    bool steadied = false, changes = false, residual = false, as_json = false, each = false;
};

Arguments parse(int argc, char** argv) {
    Arguments a;
    CLI::App app("Compares what was made of a take with its truth.");
    app.add_option("TAKE", a.take, "Folder that render_array wrote")->required();
    app.add_option("--solve", a.solve, "Solve of the mount, a line a clip");
    app.add_option("--shake", a.shake, "What solve --steady took out, a rotation a frame");
    app.add_option("--panoramas", a.panoramas,
                   "Panorama frames: 'pano.####.exr', files or folders");
    app.add_flag("--steadied", a.steadied, "The panoramas stand still in the shake track's world");
    app.add_option("--width", a.width, "Compare panoramas at no more than this width")
        ->capture_default_str();
    app.add_flag("--changes", a.changes, "Tell what changes from frame to frame");
    app.add_flag("--residual-shake", a.residual,
                 "Tell how far frames are turned against the first");
    app.add_option("--truth-every", a.truth_every,
                   "Compare each N-th frame with the true panorama of its time")
        ->check(CLI::Range(1, 100000));
    app.add_flag("--each", a.each, "A line a clip and frame");
    app.add_flag("--json", a.as_json, "Print one JSON object");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        std::exit(app.exit(error) == 0 ? 0 : 2);
    }
    return a;
}

struct Turns {
    calib::Matrix3d trueMountFromSolved = calib::Matrix3d::Identity();
    calib::Matrix3d trueFromSolvedWorld = calib::Matrix3d::Identity();
};

void solveAgainst(const Arguments& a, const TrueTake& truth, Turns& turns, json& summary) {
    const MountErrors errors = compareMount(io::readSolve(a.solve), truth);
    turns.trueMountFromSolved = turns.trueFromSolvedWorld = errors.trueMountFromSolved;
    summary["mount"] = {{"rms_px", errors.rms_px},
                        {"max_px", errors.largest_px},
                        {"lines", errors.each.size()},
                        {"missing", errors.missing}};
    if (a.as_json) return;
    std::printf("mount rotations      rms %.4f, largest %.4f px over %zu lines\n", errors.rms_px,
                errors.largest_px, errors.each.size());
    for (const std::string& name : errors.missing)
        std::printf("  not solved         %s\n", name.c_str());
    if (!a.each) return;
    for (const MountError& e : errors.each)
        std::printf("  %s%s  %.4f px\n", e.clip.c_str(), e.part > 0 ? " after its knock" : "",
                    e.px);
}

void shakeAgainst(const Arguments& a, const TrueTake& truth, Turns& turns, json& summary) {
    const ShakeErrors errors =
        compareShake(io::readShakeTrack(a.shake), truth, turns.trueMountFromSolved);
    turns.trueFromSolvedWorld = errors.trueFromSolvedWorld;
    summary["shake"] = {{"rms_px", errors.rms_px},
                        {"max_px", errors.largest_px},
                        {"frames", errors.frames},
                        {"not_in_take", errors.not_in_take},
                        {"true_rms_px", errors.true_rms_px}};
    if (a.as_json) return;
    std::printf(
        "shake                rms %.4f, largest %.4f px off the true one over %d frames (which "
        "shook by %.2f)\n",
        errors.rms_px, errors.largest_px, errors.frames, errors.true_rms_px);
    if (errors.not_in_take > 0)
        std::printf("  %d samples have no frame of the take at their timecode\n",
                    errors.not_in_take);
}

// What is left of each clip's turns, the mount's and its own.
void steadiedAgainst(const Arguments& a, const TrueTake& truth, json& summary) {
    json list = json::array();
    for (const SteadyError& e :
         compareSteadied(io::readShakeTrack(a.shake), io::readSolve(a.solve), truth)) {
        list.push_back({{"clip", e.clip},
                        {"frames", e.frames},
                        {"rms_px", e.rms_px},
                        {"max_px", e.largest_px},
                        {"true_rms_px", e.true_rms_px}});
        if (!a.as_json)
            std::printf("%-20s rms %.4f, largest %.4f px of shake left of %.2f over %d frames\n",
                        e.clip.c_str(), e.rms_px, e.largest_px, e.true_rms_px, e.frames);
    }
    summary["steadied"] = list;
}

std::vector<std::filesystem::path> panoramasOf(const Arguments& a) {
    const auto paths = io::expandPlates(a.panoramas, std::nullopt);
    if (paths.empty()) throw io::InputError("--panoramas", "names no frames");
    return paths;
}

void changesIn(const Arguments& a, json& summary) {
    const auto paths = panoramasOf(a);
    FrameChange worst;
    std::string where;
    double worst_p999 = 0, worst_off = 0;
    bool cover = false;
    io::Picture before = readPanorama(paths[0], a.width);
    for (size_t i = 1; i < paths.size(); ++i) {
        io::Picture now = readPanorama(paths[i], a.width);
        const FrameChange change = frameChange(before, now);
        if (a.each && !a.as_json)
            std::printf("  %s  largest %.4f %% at %d, %d  99.9 %% below %.4f %%  median %.4f %%\n",
                        paths[i].filename().c_str(), 100 * change.largest, change.x, change.y,
                        100 * change.p999, 100 * change.median);
        if (change.largest > worst.largest || where.empty()) {
            worst = change;
            where = paths[i].filename().string();
        }
        worst_p999 = std::max(worst_p999, change.p999);
        worst_off = std::max(worst_off, change.far_off);
        cover = cover || change.cover_differs;
        before = std::move(now);
    }
    summary["changes"] = {{"largest", worst.largest}, {"at", {worst.x, worst.y}},
                          {"frame", where},           {"p999", worst_p999},
                          {"far_off", worst_off},     {"cover_differs", cover}};
    if (a.as_json) return;
    std::printf(
        "frame to frame       largest change %.4f %% at %d, %d of %s; 99.9 %% of pixels below "
        "%.4f %%; %.3f %% of pixels beyond 1 %%%s\n",
        100 * worst.largest, worst.x, worst.y, where.c_str(), 100 * worst_p999, 100 * worst_off,
        cover ? "; cover differs" : "");
}

void residualIn(const Arguments& a, json& summary) {
    const auto paths = panoramasOf(a);
    const io::Picture first = readPanorama(paths[0], a.width);
    std::vector<FrameTurn> turns;
    for (size_t i = 1; i < paths.size(); ++i) {
        turns.push_back(frameTurn(first, readPanorama(paths[i], a.width)));
        if (a.each && !a.as_json)
            std::printf("  %s  turned by %.4f px, %d patches scatter by %.4f\n",
                        paths[i].filename().c_str(), turns.back().turn_px, turns.back().patches,
                        turns.back().residual_px);
    }
    const ResidualShake shake = residualShake(turns, first.width / (2 * calib::kPi));
    summary["residual_shake"] = {{"rms_px", shake.rms_px},
                                 {"max_px", shake.largest_px},
                                 {"fewest_patches", shake.fewest_patches},
                                 {"width", first.width}};
    if (!a.as_json)
        std::printf("residual shake       rms %.4f, largest %.4f px of a panorama %d wide\n",
                    shake.rms_px, shake.largest_px, first.width);
}

// What the panorama's axes are in the true world at a frame's time.
calib::Matrix3d trueFromPanorama(const Arguments& a, const TrueTake& truth, const Turns& turns,
                                 int64_t timecode_frame, const std::string& name) {
    if (a.steadied) return turns.trueFromSolvedWorld;
    const auto mount = truth.mountByTimecode();
    const auto there = mount.find(timecode_frame);
    if (there == mount.end())
        throw io::InputError(name, "has a timecode at which the take has no frame");
    return calib::worldFromCamera(there->second) * turns.trueMountFromSolved;
}

void truthOf(const Arguments& a, const TrueTake& truth, const Turns& turns, json& summary) {
    const Scene scene(readScene(a.take / "truth" / "scene.json"));
    const auto times = truth.timeByTimecode();
    const auto paths = panoramasOf(a);
    json list = json::array();
    for (size_t i = 0; i < paths.size(); i += size_t(a.truth_every)) {
        const io::PlateFile file = io::readPlateHeader(paths[i]);
        const std::string name = paths[i].filename().string();
        if (!file.timecode()) throw io::InputError(name, "has no timecode, so its time is unknown");
        const int64_t frame = io::frameNumber(*file.timecode(), {truth.rate.num, truth.rate.denom});
        const auto time = times.find(frame);
        const calib::Matrix3d turn = trueFromPanorama(a, truth, turns, frame, name);
        const io::Picture picture = readPanorama(paths[i], a.width);
        const io::Picture real =
            truePanorama(scene, picture.width, turn,
                         time == times.end() ? std::nullopt : std::optional(time->second));
        const PanoramaErrors off = comparePanorama(picture, real, scene, turn);
        list.push_back({{"frame", name},
                        {"covered", off.covered},
                        {"factor", {off.factor[0], off.factor[1], off.factor[2]}},
                        {"median", off.median},
                        {"p90", off.p90},
                        {"p99", off.p99},
                        {"far_off", off.far_off}});
        if (!a.as_json)
            std::printf(
                "%-20s covered %.1f %%; off the truth by %.2f %% (median), %.2f %% (90 of "
                "100), %.3f %% of pixels by half\n",
                name.c_str(), 100 * off.covered, 100 * off.median, 100 * off.p90,
                100 * off.far_off);
    }
    summary["truth"] = list;
}

void compare(const Arguments& a) {
    const TrueTake truth = readTrueTake(a.take / "truth" / "mount.json");
    json summary;
    Turns turns;
    if (!a.solve.empty()) solveAgainst(a, truth, turns, summary);
    if (!a.shake.empty() && !truth.in_turn) shakeAgainst(a, truth, turns, summary);
    if (!a.shake.empty() && !a.solve.empty()) steadiedAgainst(a, truth, summary);
    if (a.changes) changesIn(a, summary);
    if (a.residual) residualIn(a, summary);
    if (a.truth_every > 0) truthOf(a, truth, turns, summary);
    if (a.as_json) std::cout << summary.dump(1) << '\n';
}

}  // namespace

int main(int argc, char** argv) {
    try {
        compare(parse(argc, argv));
    } catch (const std::exception& error) {
        std::cerr << "compare_mount: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
