#include "world/mount_truth.h"

#include <algorithm>
#include <cmath>
#include <fstream>
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
        TrueTake take{{rate.at("num"), rate.at("denom"), rate.at("drop_frame")}, {}};
        for (const auto& clip : json.at("clips")) take.clips.push_back(clipOf(clip));
        return take;
    } catch (const nlohmann::json::exception& error) {
        throw io::InputError(path.string(),
                             std::string("is not the truth of a take: ") + error.what());
    }
}

MountErrors compareMount(const std::vector<io::SolvedPlate>& solve, const TrueTake& truth) {
    MountErrors errors;
    std::vector<Matrix3d> from, to;
    std::vector<double> focal_px;
    const auto add = [&](const TrueClip& clip, size_t part, const calib::PanTiltRoll& solved) {
        if (part >= clip.parts.size()) return;
        errors.each.push_back({clip.name, int(part), 0});
        from.push_back(calib::worldFromCamera(solved));
        to.push_back(calib::worldFromCamera(clip.parts[part]));
        focal_px.push_back(clip.focal_px);
    };
    for (const TrueClip& clip : truth.clips) {
        const auto line = std::find_if(solve.begin(), solve.end(), [&](const auto& each) {
            return each.placed && belongsTo(each.file, clip);
        });
        if (line == solve.end()) {
            errors.missing.push_back(clip.name);
            continue;
        }
        add(clip, 0, line->pose);
        if (!line->clip) continue;
        for (size_t i = 0; i < line->clip->knocked.size(); ++i)
            add(clip, i + 1, line->clip->knocked[i].pose);
    }
    if (from.empty()) return errors;
    errors.trueMountFromSolved = calib::alignOrientations(from, to);
    std::vector<double> off_px;
    for (size_t i = 0; i < from.size(); ++i) {
        errors.each[i].px = pxBetween(errors.trueMountFromSolved * from[i], to[i], focal_px[i]);
        off_px.push_back(errors.each[i].px);
    }
    const Spread spread = spreadOf(off_px);
    errors.rms_px = spread.rms;
    errors.largest_px = spread.largest;
    return errors;
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
    Matrix3d sum = Matrix3d::Zero();
    for (const Matrix3d& each : to) sum += each;
    const Matrix3d mean = calib::nearestRotation(sum);
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
