// A take's solve on disk: SOLVE.jsonl, SOLVE.seams/, SOLVE.shake.jsonl.
#include <algorithm>
#include <map>

#include "calib/angle.h"
#include "io/file_lock.h"
#include "io/input_error.h"
#include "io/sample_json.h"
#include "io/seam_pictures.h"
#include "io/shake_track.h"
#include "io/shown_text.h"
#include "stitch/moving/solve_take.h"

namespace plateloom::stitch {

namespace {

std::filesystem::path beside(const std::filesystem::path& path, const std::string& ending) {
    std::filesystem::path out = path;
    return out.replace_extension(ending);
}

std::filesystem::path seamFolder(const std::filesystem::path& path) {
    return beside(path, ".seams");
}
std::filesystem::path shakePath(const std::filesystem::path& path) {
    return beside(path, ".shake.jsonl");
}

std::string fileOf(const TakeClip& clip) {
    return io::validUtf8(std::filesystem::path(clip.clip.pattern).filename().string());
}

io::SolvedClip::Overlap lineOf(const OverlapDistance& overlap, const std::string& with) {
    io::SolvedClip::Overlap out{with,
                                overlap.inverse_m,
                                overlap.direction,
                                overlap.ties,
                                overlap.apart_m,
                                1 / overlap.nearest_m,
                                {},
                                {}};
    out.farthest_inverse_m = 1 / overlap.farthest_m;
    for (const auto& one : overlap.left) out.left.push_back({one.inverse_m, one.parallax_px});
    return out;
}

OverlapDistance overlapOf(const io::SolvedClip::Overlap& line, int a, int b) {
    OverlapDistance overlap{a, b, line.ties, line.apart_m, line.inverse_m, 0, 0, line.direction,
                            {}};
    overlap.nearest_m = 1 / line.nearest_inverse_m.value_or(line.inverse_m);
    overlap.farthest_m = 1 / line.farthest_inverse_m.value_or(line.inverse_m);
    for (const auto& one : line.left) overlap.left.push_back({one.inverse_m, one.parallax_px});
    return overlap;
}

io::SolvedClip clipOf(const Take& take, const TakeSolve& solve, size_t c) {
    const auto& camera = solve.solved.mount.cameras[c];
    io::SolvedClip clip;
    clip.first = take.first;
    clip.last = take.last;
    clip.ahead = take.clips[c].ahead;
    for (size_t i = 1; i < camera.standing.size(); ++i)
        clip.knocked.push_back({camera.standing[i].from_frame,
                                calib::panTiltRoll(camera.standing[i].mountFromCamera)});
    clip.pupil_m = camera.pupil_m;
    for (const auto& key : solve.solved.light[c].keys) clip.gains.push_back({key.frame, key.gain});
    clip.known_stops = solve.solved.light[c].known_stops;
    clip.focal_scale = camera.lens.focal_scale;
    clip.distortion_found = camera.lens.distortion;
    clip.shading_found = camera.lens.shading;
    for (const auto& overlap : solve.solved.mount.overlaps)
        if (size_t(overlap.a) == c)
            clip.overlaps.push_back(lineOf(overlap, fileOf(take.clips[size_t(overlap.b)])));
    for (const auto& knock : solve.knocks)
        if (size_t(knock.clip) == c)
            clip.knocks.push_back({knock.frame, calib::panTiltRoll(knock.beforeFromAfter)});
    if (solve.steady != Steady::none)
        clip.steady = solve.steady == Steady::lock ? "lock" : "follow";
    for (const auto& run : solve.solved.black)
        if (size_t(run.clip) == c) clip.black.emplace_back(run.first, run.last);
    clip.typical_light = solve.typical_light;
    for (const auto& part : solve.seams.parts) {
        clip.seams.push_back(part.frame);
        if (!part.why.empty()) clip.seam_moves.push_back({part.frame, part.why});
    }
    clip.shake_unknown = solve.shake_unknown;
    return clip;
}

io::SolvedPlate lineOf(const Take& take, const TakeSolve& solve, size_t c) {
    const auto& camera = solve.solved.mount.cameras[c];
    io::SolvedPlate line;
    line.file = fileOf(take.clips[c]);
    line.placed = camera.placed;
    line.why_not = camera.why_not;
    line.sensor = camera.sensor;
    line.lens = camera.lens.lens;
    if (camera.placed) {
        line.placed_by = camera.ties > 0 ? "ties" : "pose";
        line.pose = calib::panTiltRoll(camera.standing.front().mountFromCamera);
    }
    line.ties = camera.ties;
    line.rms_px = camera.rms_px;
    line.sigma_px = camera.placed ? camera.sigma_deg * calib::kRadPerDeg * camera.focal_px() : 0;
    line.gain = solve.solved.light[c].keys.front().gain;
    line.frame_rate = take.rate;
    if (const auto start = take.timecodeAt(take.first))
        line.timecode_word = io::smpteWord(*start, take.rate);
    line.clip = clipOf(take, solve, c);
    return line;
}

io::Picture pictureOf(const LabelMap& map, const std::vector<int>& clip_of_label) {
    io::Picture picture(map.width, map.height, 1);
    for (size_t i = 0; i < map.label.size(); ++i)
        picture.data[i] = map.label[i] == kNoPlate ? 0.0f : float(clip_of_label[map.label[i]] + 1);
    return picture;
}

// Cameras that have a place, in the clips' order: what labels of seams are indices of.
std::vector<int> placedClips(const Mount& mount) {
    std::vector<int> clips;
    for (size_t c = 0; c < mount.cameras.size(); ++c)
        if (mount.cameras[c].placed) clips.push_back(int(c));
    return clips;
}

MountCamera cameraOf(const io::SolvedPlate& line, int64_t first) {
    MountCamera camera;
    camera.placed = line.placed;
    camera.why_not = line.why_not;
    camera.sensor = line.sensor;
    camera.ties = line.ties;
    camera.rms_px = line.rms_px;
    if (line.placed)
        camera.sigma_deg =
            line.sigma_px * calib::kDegPerRad / calib::LensMap(line.lens, line.sensor).focal_px();
    camera.pupil_m = line.clip->pupil_m;
    camera.lens.lens = line.lens;
    camera.lens.focal_scale = line.clip->focal_scale;
    camera.lens.distortion = line.clip->distortion_found;
    camera.lens.shading = line.clip->shading_found;
    if (line.placed) {
        camera.standing = {{first, calib::worldFromCamera(line.pose)}};
        for (const auto& knocked : line.clip->knocked)
            camera.standing.push_back({knocked.from_frame, calib::worldFromCamera(knocked.pose)});
    }
    return camera;
}

// A run that was killed while it replaced a solve leaves files of two solves.
void refuseMixed(const std::filesystem::path& path, const std::string& set,
                 const std::filesystem::path& other, const std::string& set_of_other) {
    if (set.empty() || set_of_other.empty() || set == set_of_other) return;
    throw io::InputError(other.string(), "belongs to another solve than " +
                                             path.filename().string() + "; solve the take again");
}

// The pictures number the file's lines; labels are the placed ones of the clips given now, which
// may be fewer, and in another order.
SeamPlan readSeams(const std::filesystem::path& path, const std::vector<io::SolvedPlate>& lines,
                   const io::SolvedClip& clip, const Take& take, const Mount& mount) {
    std::vector<uint16_t> label{kNoPlate};
    const auto placed = placedClips(mount);
    for (const auto& line : lines) {
        label.push_back(kNoPlate);
        for (size_t i = 0; i < placed.size(); ++i)
            if (fileOf(take.clips[size_t(placed[i])]) == line.file) label.back() = uint16_t(i);
    }
    SeamPlan plan;
    for (const int64_t frame : clip.seams) {
        refuseMixed(path, clip.set, seamFolder(path),
                    io::setOfSeamPicture(seamFolder(path), frame));
        const auto picture = io::readSeamPicture(seamFolder(path), frame, int(lines.size()));
        LabelMap map{picture.width, picture.height, {}};
        for (const float number : picture.data) map.label.push_back(label[size_t(number)]);
        const auto move = std::find_if(clip.seam_moves.begin(), clip.seam_moves.end(),
                                       [&](const auto& one) { return one.frame == frame; });
        plan.parts.push_back(
            {frame, std::move(map), move == clip.seam_moves.end() ? "" : move->why});
    }
    return plan;
}

std::vector<io::ShakeSample> samplesOf(const Take& take, const TakenOut& taken_out) {
    std::vector<io::ShakeSample> samples;
    for (int64_t frame = take.first; frame <= take.last; ++frame) {
        const auto i = size_t(frame - take.first);
        if (!taken_out.shared.empty())
            samples.push_back(
                {frame, take.timecodeAt(frame), calib::panTiltRoll(taken_out.shared[i]), ""});
        for (size_t c = 0; c < taken_out.own.size(); ++c)
            if (!taken_out.own[c].empty())
                samples.push_back({frame, take.timecodeAt(frame, int(c)),
                                   calib::panTiltRoll(taken_out.own[c][i]), fileOf(take.clips[c])});
    }
    return samples;
}

// The turns of one source, one a frame of the take; none where it is not there and need not be.
std::vector<Matrix3d> turnsOf(const std::filesystem::path& path,
                              const std::map<int64_t, Matrix3d>& at, const std::string& source,
                              const Take& take, bool needed) {
    std::vector<Matrix3d> out;
    if (at.empty() && !needed) return out;
    for (int64_t frame = take.first; frame <= take.last; ++frame) {
        const auto found = at.find(frame);
        if (found == at.end())
            throw io::InputError(path.string(),
                                 "has no sample of frame " + std::to_string(frame) +
                                     (source.empty() ? std::string() : " for " + source));
        out.push_back(found->second);
    }
    return out;
}

TakenOut readShake(const std::filesystem::path& solve, const std::string& set, const Take& take,
                   const Mount& mount) {
    const auto path = shakePath(solve);
    std::string set_of_shake;
    const bool in_turn = take.rolled == Rolled::in_turn;
    std::map<std::string, std::map<int64_t, Matrix3d>> at;
    const auto samples = io::readShakeTrack(path, &set_of_shake);
    refuseMixed(solve, set, path, set_of_shake);
    for (const auto& sample : samples)
        at[sample.clip][sample.frame] = calib::worldFromCamera(sample.turn);
    TakenOut out;
    out.shared = turnsOf(path, at[""], "", take, !in_turn);
    for (size_t c = 0; c < take.clips.size(); ++c) {
        const auto file = fileOf(take.clips[c]);
        out.own.push_back(turnsOf(path, at[file], file, take, in_turn && mount.cameras[c].placed));
    }
    return out;
}

// What a solve's files that were written together bear: the same for the same seams and shake.
std::string setOf(const TakeSolve& solve) {
    std::string text;
    for (const auto& part : solve.seams.parts) {
        text += std::to_string(part.frame) + ":" + std::to_string(part.map.width) + "x" +
                std::to_string(part.map.height) + "\n";
        for (const uint16_t label : part.map.label) {
            text += char(label & 0xff);
            text += char(label >> 8);
        }
    }
    const auto add = [&](const std::vector<Matrix3d>& turns) {
        for (const Matrix3d& turn : turns)
            for (int i = 0; i < 9; ++i) text += std::to_string(turn(i / 3, i % 3)) + " ";
        text += "\n";
    };
    if (solve.steady != Steady::none) {
        add(solve.solved.taken_out.shared);
        for (const auto& own : solve.solved.taken_out.own) add(own);
    }
    return io::urnOf(text).substr(std::string("urn:uuid:").size());
}

// What the solve keeps beside itself has to have come along.
void refuseMissing(const std::filesystem::path& kept, const std::filesystem::path& solve,
                   const char* what) {
    std::error_code error;
    if (std::filesystem::exists(kept, error)) return;
    throw io::InputError(kept.string(), std::string("is missing: ") + what +
                                            " are kept there; bring it along with " +
                                            solve.filename().string() +
                                            ", or solve the take again");
}

}  // namespace

void addInputs(io::OutputGuard& guard, const Take& take, const TakeArguments& arguments) {
    for (const auto& clip : take.clips) {
        guard.reads(clip.clip.files);
        if (clip.clip.movie) guard.reads(clip.clip.pattern);
    }
    guard.reads(arguments.plates.lens_tracks);
    if (arguments.plates.report) guard.reads(*arguments.plates.report);
}

void addTakeSolve(io::OutputGuard& guard, const std::filesystem::path& path) {
    guard.writes(path, io::Made::solve);
    guard.writes(shakePath(path), io::Made::shake);
    for (const auto& picture : io::seamPictures(seamFolder(path)))
        guard.writes(picture, io::Made::seams);
}

std::vector<std::filesystem::path> filesOfTakeSolve(const std::filesystem::path& path) {
    auto files = io::seamPictures(seamFolder(path));
    files.push_back(path);
    files.push_back(shakePath(path));
    return files;
}

void writeTakeSolve(const std::filesystem::path& path, const Take& take, const TakeSolve& solve) {
    const auto clips = placedClips(solve.solved.mount);
    const std::string set = setOf(solve);
    io::makeFolder(seamFolder(path));
    // All of it is written beside the old before anything is replaced.
    std::vector<std::unique_ptr<io::NewFile>> files;
    std::vector<int64_t> frames;
    for (const auto& part : solve.seams.parts) {
        frames.push_back(part.frame);
        files.push_back(
            io::writeSeamPicture(seamFolder(path), part.frame, pictureOf(part.map, clips), set));
    }
    if (solve.steady != Steady::none)
        files.push_back(io::writeShakeBeside(
            shakePath(path), samplesOf(take, solve.solved.taken_out), take.rate, set));
    std::vector<io::SolvedPlate> lines;
    for (size_t c = 0; c < take.clips.size(); ++c) {
        lines.push_back(lineOf(take, solve, c));
        lines.back().clip->set = set;
    }
    // Last: who finds it finds the rest.
    files.push_back(io::writeSolveBeside(path, lines));
    // Of two runs on one solve each replaces all of it.
    const io::FileLock lock(path);
    for (const auto& file : files) file->commit();
    io::keepSeamPictures(seamFolder(path), frames);
}

TakeSolve readTakeSolve(const std::filesystem::path& path, const Take& take) {
    const auto lines = io::readSolve(path);
    TakeSolve solve;
    for (const auto& clip : take.clips) {
        const auto name = fileOf(clip);
        const auto found = std::find_if(lines.begin(), lines.end(),
                                        [&](const auto& line) { return line.file == name; });
        if (found == lines.end())
            throw io::InputError(path.string(),
                                 "does not know the clip " + name +
                                     "; solve these clips, or give those of the solve");
        if (!found->clip)
            throw io::InputError(path.string(),
                                 "is a solve of stills: solve the take first, with "
                                 "--clips");
        const auto& own = *found->clip;
        if (take.first < own.first || take.last > own.last)
            throw io::InputError(
                path.string(), "was solved for frames " + std::to_string(own.first) + " to " +
                                   std::to_string(own.last) + ", not " +
                                   std::to_string(take.first) + " to " + std::to_string(take.last));
        if (clip.ahead != own.ahead)
            throw io::InputError(
                path.string(), name + " was tied in time otherwise (" + std::to_string(own.ahead) +
                                   " frames ahead, now " + std::to_string(clip.ahead) +
                                   "): give the same --offset, or solve again");
        solve.solved.mount.cameras.push_back(cameraOf(*found, own.first));
        CameraLight light;
        for (const auto& gain : own.gains) light.keys.push_back({gain.frame, gain.gain});
        light.known_stops = own.known_stops;
        solve.solved.light.push_back(std::move(light));
        const int index = int(solve.solved.mount.cameras.size()) - 1;
        for (const auto& [first, last] : own.black)
            solve.solved.black.push_back({index, first, last});
        solve.typical_light = own.typical_light;
        if (!own.steady.empty())
            solve.steady = own.steady == "lock" ? Steady::lock : Steady::follow;
        for (const auto& overlap : own.overlaps)
            for (size_t b = 0; b < take.clips.size(); ++b)
                if (fileOf(take.clips[b]) == overlap.with)
                    solve.solved.mount.overlaps.push_back(overlapOf(overlap, index, int(b)));
        for (const auto& knock : own.knocks)
            solve.knocks.push_back({index, knock.frame, calib::worldFromCamera(knock.turn)});
    }
    const auto& first = *std::find_if(lines.begin(), lines.end(), [](const auto& line) {
                             return line.clip.has_value();
                         })->clip;
    refuseMissing(seamFolder(path), path, "the solve's seams");
    solve.seams = readSeams(path, lines, first, take, solve.solved.mount);
    if (solve.seams.parts.empty())
        throw io::InputError(path.string(), "says nothing of seams; solve the take again");
    solve.shake_unknown = first.shake_unknown;
    if (solve.steady != Steady::none) {
        refuseMissing(shakePath(path), path, "the turns that the solve took out");
        solve.solved.taken_out = readShake(path, first.set, take, solve.solved.mount);
    }
    setDistance({"auto"}, take, solve);
    return solve;
}

}  // namespace plateloom::stitch
