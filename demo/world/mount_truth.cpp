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
                    std::nullopt,
                    {}};
    if (json.contains("own")) frame.own = anglesOf(json.at("own"));
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

Matrix3d mountFromCamera(const TrueFrame& frame) {
    return calib::worldFromCamera(frame.own) * calib::worldFromCamera(frame.on_mount);
}

Matrix3d worldFromCamera(const TrueFrame& frame) {
    return calib::worldFromCamera(frame.mount) * mountFromCamera(frame);
}

Matrix3d meanOf(const std::vector<Matrix3d>& rotations) {
    Matrix3d sum = Matrix3d::Zero();
    for (const Matrix3d& each : rotations) sum += each;
    return calib::nearestRotation(sum);
}

Spread aboutMean_px(const std::vector<Matrix3d>& turns, double focal_px) {
    const Matrix3d mean = meanOf(turns);
    std::vector<double> px;
    for (const Matrix3d& each : turns) px.push_back(pxBetween(mean, each, focal_px));
    return spreadOf(px);
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

// How a clip stood on the mount in the frames that the solve is of, of one of its parts.
std::vector<Matrix3d> trulyWithin(const TrueClip& clip, const io::SolvedPlate& line, size_t part,
                                  bool in_turn) {
    const auto parts = partsOf(line);
    std::vector<Matrix3d> out;
    for (const TrueFrame& frame : clip.frames) {
        if (line.clip && (frame.number < line.clip->first + line.clip->ahead ||
                          frame.number > line.clip->last + line.clip->ahead))
            continue;
        if (frame.number < parts[part].from_number ||
            (part + 1 < parts.size() && frame.number >= parts[part + 1].from_number))
            continue;
        out.push_back(in_turn ? worldFromCamera(frame) : mountFromCamera(frame));
    }
    return out;
}

bool turnsByItself(const TrueClip& clip) {
    return std::any_of(clip.frames.begin(), clip.frames.end(), [](const TrueFrame& frame) {
        return calib::angleBetween_deg(Matrix3d::Identity(), calib::worldFromCamera(frame.own)) > 0;
    });
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
        const bool byItself = truth.in_turn || turnsByItself(clip);
        for (size_t part = 0; part < parts.size(); ++part) {
            if (!byItself && part >= clip.parts.size()) break;
            const auto within =
                byItself ? trulyWithin(clip, *line, part, truth.in_turn)
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

std::vector<SteadyError> compareSteadied(const std::vector<io::ShakeSample>& track,
                                         const std::vector<io::SolvedPlate>& solve,
                                         const TrueTake& truth) {
    // By clip and the take's frame; "" is the mount's.
    std::map<std::pair<std::string, int64_t>, Matrix3d> taken_out;
    for (const auto& sample : track)
        taken_out[{sample.clip, sample.frame}] = calib::worldFromCamera(sample.turn);
    const auto turnOf = [&](const std::string& source, int64_t frame) -> Matrix3d {
        const auto at = taken_out.find({source, frame});
        return at == taken_out.end() ? Matrix3d(Matrix3d::Identity()) : at->second;
    };
    std::vector<SteadyError> out;
    std::vector<std::vector<Matrix3d>> put, looked;  // by clip
    std::vector<double> focal_px;
    for (const TrueClip& clip : truth.clips) {
        const auto* line = lineOf(solve, clip);
        if (!line || !line->clip) continue;
        const auto parts = partsOf(*line);
        put.emplace_back();
        looked.emplace_back();
        for (const TrueFrame& frame : clip.frames) {
            const int64_t number = frame.number - line->clip->ahead;
            if (number < line->clip->first || number > line->clip->last) continue;
            size_t part = parts.size() - 1;
            while (part > 0 && parts[part].from_number > frame.number) --part;
            put.back().emplace_back(turnOf("", number) * turnOf(line->file, number) *
                                    calib::worldFromCamera(parts[part].pose));
            looked.back().push_back(worldFromCamera(frame));
        }
        focal_px.push_back(clip.focal_px);
        out.push_back({clip.name, int(put.back().size()), 0, 0, 0});
    }
    std::vector<Matrix3d> all_put, all_looked;
    for (size_t c = 0; c < put.size(); ++c) {
        all_put.insert(all_put.end(), put[c].begin(), put[c].end());
        all_looked.insert(all_looked.end(), looked[c].begin(), looked[c].end());
    }
    if (all_put.empty()) return out;
    const Matrix3d trueFromSolved = calib::alignOrientations(all_put, all_looked);
    for (size_t c = 0; c < out.size(); ++c) {
        std::vector<Matrix3d> off;
        for (size_t i = 0; i < put[c].size(); ++i)
            off.emplace_back(looked[c][i].transpose() * trueFromSolved * put[c][i]);
        const Spread left = aboutMean_px(off, focal_px[c]);
        out[c].rms_px = left.rms;
        out[c].largest_px = left.largest;
        out[c].true_rms_px = aboutMean_px(looked[c], focal_px[c]).rms;
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
        if (!sample.clip.empty()) continue;
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
