#include "world/array_recording.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "world/recording.h"
#include "world/still_light.h"
#include "world/truth.h"

namespace plateloom::world {

namespace {

using Json = nlohmann::ordered_json;
using calib::Matrix3d;

calib::LensMap lensOf(const Clip& clip, size_t frame) {
    return {clip.shoot.plates[frame].lens, clip.shoot.sensor};
}

io::Picture lightOf(const Clip& clip, const Scene& scene, size_t frame) {
    const PlannedPlate& plate = clip.shoot.plates[frame];
    return renderLight(scene, lensOf(clip, frame), calib::worldFromCamera(plate.pose),
                       plate.origin_m, plate.time_s, renderSettings(clip.shoot, plate));
}

io::Picture exposed(const Clip& clip, io::Picture light, size_t frame) {
    const PlannedPlate& plate = clip.shoot.plates[frame];
    exposeLight(light, lensOf(clip, frame), renderSettings(clip.shoot, plate));
    if (clip.frames[frame].black) std::fill(light.data.begin(), light.data.end(), 0.0f);
    return light;
}

bool sameAngles(const calib::PanTiltRoll& a, const calib::PanTiltRoll& b) {
    return a.pan_deg == b.pan_deg && a.tilt_deg == b.tilt_deg && a.roll_deg == b.roll_deg;
}

// Focus and zoom are locked within a take, so the iris is all that a lens may do: light falls the
// same way.
bool seeTheSame(const PlannedPlate& a, const PlannedPlate& b) {
    return sameAngles(a.pose, b.pose) && a.origin_m == b.origin_m && a.time_s == b.time_s &&
           a.lens.focal_mm == b.lens.focal_mm;
}

// Frames of one clip, one after the other.
struct Run {
    size_t first, end;
};

template <class Alike>
std::vector<Run> runsOf(Run all, const Alike& alike) {
    std::vector<Run> runs;
    for (size_t first = all.first, end = 0; first < all.end; first = end) {
        for (end = first + 1; end < all.end && alike(first, end);) ++end;
        runs.push_back({first, end});
    }
    return runs;
}

// How far beyond the frame of the camera at rest the frames of a run look, pixels; nullopt if too
// far for a wider frame of the same lens.
std::optional<int> marginAround(const Clip& clip, const Run& run, const Matrix3d& rest) {
    const calib::LensMap lens = lensOf(clip, run.first);
    const double w = clip.shoot.sensor.width_px, h = clip.shoot.sensor.height_px;
    double most = 0;
    for (size_t frame = run.first; frame < run.end; ++frame) {
        const Matrix3d turn =
            rest.transpose() * calib::worldFromCamera(clip.shoot.plates[frame].pose);
        for (const double x : {0.0, w / 2, w})
            for (const double y : {0.0, h / 2, h}) {
                const auto px = lens.recordedFromRay(turn * *lens.rayFromRecorded({x, y}));
                if (!px) return std::nullopt;
                most = std::max({most, -px->x(), -px->y(), px->x() - w, px->y() - h});
            }
    }
    if (most > 0.1 * w) return std::nullopt;
    return int(std::ceil(most)) + 6;
}

// The light of a run's frames by way of one wider picture, where that saves work.
std::optional<StillLight> stillLightOf(const ArrayTake& take, const Clip& clip, const Scene& scene,
                                       const Run& run, size_t lights) {
    constexpr size_t kWorthwhile = 6;
    if (take.settings.exact || lights < kWorthwhile) return std::nullopt;
    const Matrix3d rest = calib::worldFromCamera(clip.frames[run.first].on_mount);
    const auto margin_px = marginAround(clip, run, rest);
    if (!margin_px) return std::nullopt;
    return StillLight(scene, lensOf(clip, run.first), rest, clip.pupil_m, *margin_px,
                      renderSettings(clip.shoot, clip.shoot.plates[run.first]));
}

Json angles(const calib::PanTiltRoll& pose) {
    return {{"pan_deg", pose.pan_deg}, {"tilt_deg", pose.tilt_deg}, {"roll_deg", pose.roll_deg}};
}

Json frameTruth(const Clip& clip, size_t i) {
    const ClipFrame& frame = clip.frames[i];
    const PlannedPlate& plate = clip.shoot.plates[i];
    Json json{{"number", frame.number},       {"timecode_frame", plate.frame},
              {"mount", angles(frame.mount)}, {"on_mount", angles(frame.on_mount)},
              {"exposure", plate.exposure},   {"t_stop", *plate.lens.t_stop}};
    if (plate.time_s) json["time_s"] = *plate.time_s;
    if (!sameAngles(frame.own, {})) json["own"] = angles(frame.own);
    if (frame.black) json["black"] = true;
    if (frame.missing) json["missing"] = true;
    return json;
}

}  // namespace

io::Picture recordFrame(const Clip& clip, const Scene& scene, size_t frame) {
    return exposed(clip, lightOf(clip, scene, frame), frame);
}

void writeClipTrack(const std::filesystem::path& path, const Clip& clip) {
    Shoot said = clip.shoot;
    for (PlannedPlate& plate : said.plates) {
        plate.pose = clip.measured;
        plate.origin_m = clip.measured_sensor_m;
    }
    TrackFormat format;
    format.poses = true;
    format.pose_noise_deg = 0;
    format.frames_around = 0;
    format.camera = clip.camera;
    format.serial = clip.serial;
    format.slate = clip.name;
    writeLensTrack(path, said, format);
}

void writeMountTruth(const std::filesystem::path& path, const ArrayTake& take) {
    const Rate& rate = take.settings.rate;
    Json clips = Json::array();
    for (const Clip& clip : take.clips) {
        Json frames = Json::array();
        for (size_t i = 0; i < clip.frames.size(); ++i) frames.push_back(frameTruth(clip, i));
        const double focal_px =
            calib::LensMap(clip.shoot.plates[0].lens, clip.shoot.sensor).focal_px();
        clips.push_back({{"name", clip.name},
                         {"file", clip.name + ".####.exr"},
                         {"focal_px", focal_px},
                         {"on_mount", angles(clip.on_mount)},
                         {"pupil_m", {clip.pupil_m.x(), clip.pupil_m.y(), clip.pupil_m.z()}},
                         {"frames", std::move(frames)}});
    }
    std::ofstream out(path);
    out << Json{{"rate",
                 {{"num", rate.num}, {"denom", rate.denom}, {"drop_frame", rate.drop_frame}}},
                {"in_turn", take.settings.in_turn},
                {"clips", std::move(clips)}}
               .dump(1)
        << '\n';
    if (!out) throw io::RoomError(path.string(), "can't be written");
}

void writeTake(const std::filesystem::path& folder, const ArrayTake& take,
               const std::function<void(int, int)>& tell) {
    std::filesystem::create_directories(folder / "truth");
    writeMountTruth(folder / "truth" / "mount.json", take);
    writeScene(folder / "truth" / "scene.json", take.scene);
    int all = 0;
    for (const Clip& clip : take.clips) {
        writeClipTrack(folder / (clip.name + ".jsonl"), clip);
        all += int(clip.frames.size());
    }
    const Scene scene(take.scene);
    std::atomic<int> done{0};
    const auto recordClip = [&](const Clip& clip) {
        const auto& plates = clip.shoot.plates;
        const auto alike = [&](size_t a, size_t b) { return seeTheSame(plates[a], plates[b]); };
        for (const Run& part : runsOf({0, plates.size()}, [&](size_t a, size_t b) {
                 return sameAngles(clip.frames[a].on_mount, clip.frames[b].on_mount);
             })) {
            const std::vector<Run> runs = runsOf(part, alike);
            const auto still = stillLightOf(take, clip, scene, part, runs.size());
            const auto record = [&](const Run& run) {
                const PlannedPlate& first = plates[run.first];
                const io::Picture light = still ? still->light(calib::worldFromCamera(first.pose),
                                                               first.origin_m, first.time_s)
                                                : lightOf(clip, scene, run.first);
                tbb::parallel_for(run.first, run.end, [&](size_t frame) {
                    if (!clip.frames[frame].missing)
                        writePlateExr(folder / plates[frame].file, exposed(clip, light, frame),
                                      clip.shoot, plates[frame]);
                    if (tell) tell(++done, all);
                });
            };
            // Isolated, so that a thread that waits within one run doesn't begin the next: memory
            // stays at one run a thread.
            tbb::parallel_for(size_t(0), runs.size(), [&](size_t i) {
                tbb::this_task_arena::isolate([&] { record(runs[i]); });
            });
        }
    };
    for (const Clip& clip : take.clips) recordClip(clip);
}

}  // namespace plateloom::world
