#include "world/mount_truth.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>

#include "calib/angle.h"
#include "io/input_error.h"

namespace plateloom::world {

namespace {

using calib::Matrix3d;

calib::PanTiltRoll anglesOf(const nlohmann::json& json) {
    return {json.at("pan_deg"), json.at("tilt_deg"), json.at("roll_deg")};
}

TrueFrame frameOf(const nlohmann::json& json) {
    TrueFrame frame{json.at("number"),
                    json.at("timecode_frame"),
                    anglesOf(json.at("mount")),
                    anglesOf(json.at("on_mount")),
                    json.at("exposure"),
                    json.at("t_stop"),
                    std::nullopt};
    if (json.contains("time_s")) frame.time_s = json.at("time_s").get<double>();
    return frame;
}

TrueClip clipOf(const nlohmann::json& json) {
    TrueClip clip{json.at("name"), json.at("file"), json.at("focal_px"), {}, {}};
    for (const auto& each : json.at("frames")) {
        clip.frames.push_back(frameOf(each));
        const Matrix3d here = calib::worldFromCamera(clip.frames.back().on_mount);
        if (clip.parts.empty() ||
            calib::angleBetween_deg(calib::worldFromCamera(clip.parts.back()), here) > 1e-9)
            clip.parts.push_back(clip.frames.back().on_mount);
    }
    return clip;
}

// "cam1.####.exr", "cam1.1001.exr" and "cam1" are all of cam1.
bool belongsTo(const std::string& file, const TrueClip& clip) {
    return file == clip.name || file.rfind(clip.name + ".", 0) == 0;
}

double pxBetween(const Matrix3d& a, const Matrix3d& b, double focal_px) {
    return focal_px * calib::kRadPerDeg * calib::angleBetween_deg(a, b);
}

// Root mean square and largest of some lengths.
struct Spread {
    double rms = 0, largest = 0;
};
Spread spreadOf(const std::vector<double>& values) {
    Spread spread;
    for (const double value : values) {
        spread.rms += value * value / double(values.size());
        spread.largest = std::max(spread.largest, value);
    }
    spread.rms = std::sqrt(spread.rms);
    return spread;
}

const io::SolvedPlate* lineOf(const std::vector<io::SolvedPlate>& solve, const TrueClip& clip) {
    const auto line = std::find_if(solve.begin(), solve.end(), [&](const auto& each) {
        return each.placed && belongsTo(each.file, clip);
    });
    return line == solve.end() ? nullptr : &*line;
}

Matrix3d worldFromCamera(const TrueFrame& frame) {
    return calib::worldFromCamera(frame.mount) * calib::worldFromCamera(frame.on_mount);
}

Matrix3d meanOf(const std::vector<Matrix3d>& rotations) {
    Matrix3d sum = Matrix3d::Zero();
    for (const Matrix3d& each : rotations) sum += each;
    return calib::nearestRotation(sum);
}

// How a clip stands by its solve, from a frame of its own on.
struct SolvedPart {
    int64_t from_number = 0;
    calib::PanTiltRoll pose;
};
std::vector<SolvedPart> partsOf(const io::SolvedPlate& line) {
    std::vector<SolvedPart> parts{{std::numeric_limits<int64_t>::min(), line.pose}};
    if (line.clip)
        for (const auto& knocked : line.clip->knocked)
            parts.push_back({knocked.from_frame + line.clip->ahead, knocked.pose});
    return parts;
}

// The frames that the solve is of, of one of its parts.
std::vector<Matrix3d> trulyWithin(const TrueClip& clip, const io::SolvedPlate& line, size_t part) {
    const auto parts = partsOf(line);
    std::vector<Matrix3d> out;
    for (const TrueFrame& frame : clip.frames) {
        if (line.clip && (frame.number < line.clip->first + line.clip->ahead ||
                          frame.number > line.clip->last + line.clip->ahead))
            continue;
        if (frame.number < parts[part].from_number ||
            (part + 1 < parts.size() && frame.number >= parts[part + 1].from_number))
            continue;
        out.push_back(worldFromCamera(frame));
    }
    return out;
}

// Where the solve's clips are against where they truly stood, each part by itself.
struct StandingPairs {
    std::vector<Matrix3d> from, to;
    std::vector<const TrueClip*> clip;
    std::vector<size_t> part;
};
StandingPairs standingPairs(const std::vector<io::SolvedPlate>& solve, const TrueTake& truth) {
    StandingPairs pairs;
    for (const TrueClip& clip : truth.clips) {
        const auto* line = lineOf(solve, clip);
        if (!line) continue;
        const auto parts = partsOf(*line);
        for (size_t part = 0; part < parts.size(); ++part) {
            if (!truth.in_turn && part >= clip.parts.size()) break;
            const auto within =
                truth.in_turn ? trulyWithin(clip, *line, part)
                              : std::vector<Matrix3d>{calib::worldFromCamera(clip.parts[part])};
            if (within.empty()) continue;
            pairs.from.push_back(calib::worldFromCamera(parts[part].pose));
            pairs.to.push_back(meanOf(within));
            pairs.clip.push_back(&clip);
            pairs.part.push_back(part);
        }
    }
    return pairs;
}

}  // namespace

std::map<int64_t, calib::PanTiltRoll> TrueTake::mountByTimecode() const {
    std::map<int64_t, calib::PanTiltRoll> out;
    for (const TrueClip& clip : clips)
        for (const TrueFrame& frame : clip.frames) out[frame.timecode_frame] = frame.mount;
    return out;
}

std::map<int64_t, double> TrueTake::timeByTimecode() const {
    std::map<int64_t, double> out;
    for (const TrueClip& clip : clips)
        for (const TrueFrame& frame : clip.frames)
            if (frame.time_s) out[frame.timecode_frame] = *frame.time_s;
    return out;
}

TrueTake readTrueTake(const std::filesystem::path& path) {
    std::ifstream in(path);
    if (!in) throw io::InputError(path.string(), "is missing; render the take again");
    try {
        const auto json = nlohmann::json::parse(in);
        const auto& rate = json.at("rate");
        TrueTake take{{rate.at("num"), rate.at("denom"), rate.at("drop_frame")}, {}, false};
        take.in_turn = json.value("in_turn", false);
        for (const auto& clip : json.at("clips")) take.clips.push_back(clipOf(clip));
        return take;
    } catch (const nlohmann::json::exception& error) {
        throw io::InputError(path.string(),
                             std::string("is not the truth of a take: ") + error.what());
    }
}

MountErrors compareMount(const std::vector<io::SolvedPlate>& solve, const TrueTake& truth) {
    MountErrors errors;
    for (const TrueClip& clip : truth.clips)
        if (!lineOf(solve, clip)) errors.missing.push_back(clip.name);
    const StandingPairs pairs = standingPairs(solve, truth);
    if (pairs.from.empty()) return errors;
    errors.trueMountFromSolved = calib::alignOrientations(pairs.from, pairs.to);
    std::vector<double> off_px;
    for (size_t i = 0; i < pairs.from.size(); ++i) {
        off_px.push_back(pxBetween(errors.trueMountFromSolved * pairs.from[i], pairs.to[i],
                                   pairs.clip[i]->focal_px));
        errors.each.push_back({pairs.clip[i]->name, int(pairs.part[i]), off_px.back()});
    }
    const Spread spread = spreadOf(off_px);
    errors.rms_px = spread.rms;
    errors.largest_px = spread.largest;
    return errors;
}

std::vector<OwnShakeError> compareOwnShake(const std::vector<io::ShakeSample>& track,
                                           const std::vector<io::SolvedPlate>& solve,
                                           const TrueTake& truth) {
    std::vector<OwnShakeError> out;
    const Matrix3d trueFromSolved = compareMount(solve, truth).trueMountFromSolved;
    for (const TrueClip& clip : truth.clips) {
        const auto* line = lineOf(solve, clip);
        if (!line || !line->clip) continue;
        const auto parts = partsOf(*line);
        std::map<int64_t, Matrix3d> turn;  // by the clip's own numbers
        for (const auto& sample : track)
            if (belongsTo(sample.clip, clip))
                turn[sample.frame + line->clip->ahead] = calib::worldFromCamera(sample.turn);
        OwnShakeError error;
        error.clip = clip.name;
        std::vector<Matrix3d> off, shook;
        for (const TrueFrame& frame : clip.frames) {
            const auto at = turn.find(frame.number);
            if (!turn.empty() && at == turn.end()) continue;
            size_t part = parts.size() - 1;
            while (part > 0 && parts[part].from_number > frame.number) --part;
            const Matrix3d solved = (turn.empty() ? Matrix3d(Matrix3d::Identity()) : at->second) *
                                    calib::worldFromCamera(parts[part].pose);
            shook.push_back(worldFromCamera(frame));
            off.push_back(shook.back().transpose() * trueFromSolved * solved);
        }
        if (off.empty()) continue;
        const auto aboutMean = [&](const std::vector<Matrix3d>& turns) {
            std::vector<double> px;
            for (const Matrix3d& each : turns)
                px.push_back(pxBetween(meanOf(turns), each, clip.focal_px));
            return spreadOf(px);
        };
        error.frames = int(off.size());
        error.rms_px = aboutMean(off).rms;
        error.largest_px = aboutMean(off).largest;
        error.true_rms_px = aboutMean(shook).rms;
        out.push_back(error);
    }
    return out;
}

ShakeErrors compareShake(const std::vector<io::ShakeSample>& track, const TrueTake& truth,
                         const Matrix3d& trueMountFromSolved) {
    const auto mount = truth.mountByTimecode();
    const io::FrameRate rate{truth.rate.num, truth.rate.denom};
    ShakeErrors errors;
    std::vector<Matrix3d> from, to;
    for (const io::ShakeSample& sample : track) {
        const auto there =
            sample.timecode ? mount.find(io::frameNumber(*sample.timecode, rate)) : mount.end();
        if (there == mount.end()) {
            ++errors.not_in_take;
            continue;
        }
        from.push_back(calib::worldFromCamera(sample.turn));
        to.push_back(calib::worldFromCamera(there->second) * trueMountFromSolved);
    }
    errors.frames = int(from.size());
    if (from.empty()) return errors;
    errors.trueFromSolvedWorld = calib::alignOrientations(from, to);
    const Matrix3d mean = meanOf(to);
    std::vector<double> off_px, shook_px;
    const double focal_px = truth.clips.front().focal_px;
    for (size_t i = 0; i < from.size(); ++i) {
        off_px.push_back(pxBetween(errors.trueFromSolvedWorld * from[i], to[i], focal_px));
        shook_px.push_back(pxBetween(mean, to[i], focal_px));
    }
    const Spread off = spreadOf(off_px);
    errors.rms_px = off.rms;
    errors.largest_px = off.largest;
    errors.true_rms_px = spreadOf(shook_px).rms;
    return errors;
}

}  // namespace plateloom::world
