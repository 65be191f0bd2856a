// A take filmed by the demo's array, or in turn, in a folder of its own, small and short.
#pragma once

#include <string>

#include "io/shake_track.h"
#include "io/solve_file.h"
#include "stitch/moving/stitch_take.h"
#include "tests/program.h"
#include "world/array_recording.h"
#include "world/mount_truth.h"
#include "world/truth.h"

namespace plateloom::test {

inline void silent(const std::string&, double) {}

// Three cameras that see from one place.
inline world::ArraySettings smallArray() {
    world::ArraySettings settings;
    settings.cameras = 3;
    settings.frames = 8;
    settings.width_px = 640;
    settings.height_px = 360;
    settings.pupil_radius_m = 0;
    settings.iris_frames = 4;
    return settings;
}

struct Filmed {
    Folder folder;
    world::ArrayTake take;

    explicit Filmed(const world::ArraySettings& settings) : take(world::planArray(settings)) {
        world::writeTake(folder.path(), take);
    }
    [[nodiscard]] stitch::TakeArguments arguments() const {
        stitch::TakeArguments arguments;
        for (const auto& clip : take.clips) {
            arguments.plates.plates.push_back((folder / (clip.name + ".####.exr")).string());
            arguments.plates.lens_tracks.push_back(folder / (clip.name + ".jsonl"));
        }
        arguments.rolled = take.settings.in_turn ? stitch::Rolled::in_turn : stitch::Rolled::array;
        return arguments;
    }
    [[nodiscard]] stitch::TakeStitchRequest request(const std::string& name) const {
        stitch::TakeStitchRequest request;
        request.take = arguments();
        request.solve_file = folder / "mount.jsonl";
        request.output = folder / (name + ".####.exr");
        request.width = 1024;
        return request;
    }
    [[nodiscard]] world::TrueTake truth() const {
        return world::readTrueTake(folder / "truth" / "mount.json");
    }
    [[nodiscard]] std::vector<io::SolvedPlate> solve() const {
        return io::readSolve(folder / "mount.jsonl");
    }
    [[nodiscard]] std::vector<io::ShakeSample> shake() const {
        return io::readShakeTrack(folder / "mount.shake.jsonl");
    }
    [[nodiscard]] world::MountErrors mountErrors() const {
        return world::compareMount(solve(), truth());
    }
    [[nodiscard]] io::Picture frame(const std::string& name, int number) const {
        return world::readPanorama(io::framePath((folder / (name + ".####.exr")).string(), number),
                                   1024);
    }
};

}  // namespace plateloom::test
