#include "stitch/mount/own_turns.h"

#include <algorithm>
#include <cmath>

#include "calib/median.h"
#include "calib/rotation_vector.h"
#include "stitch/mount/turn_series.h"

namespace plateloom::stitch {

namespace {

// A camera that stood still shows turns of one sigma; corners that move a little on their own (a
// tree, water) may double that.
constexpr double kSurelyOwn_sigmas = 3;

// A clip's turns since the frame that they are told from, where they are known.
std::vector<std::optional<Matrix3d>> turnsOf(const std::vector<ShakeFrame>& shake, size_t clip) {
    std::vector<std::optional<Matrix3d>> turns;
    for (const auto& frame : shake)
        turns.push_back(frame.known && frame.apart_corners[clip] > 0
                            ? std::optional(calib::rotationOf(frame.apart_rad[clip]))
                            : std::nullopt);
    return turns;
}

double typicalSigma_rad(const std::vector<ShakeFrame>& shake, size_t clip) {
    std::vector<double> sigmas;
    for (const auto& frame : shake)
        if (frame.apart_sigma_rad[clip] > 0) sigmas.push_back(frame.apart_sigma_rad[clip]);
    return sigmas.empty() ? 0 : calib::median(sigmas);
}

OwnTurn ownTurn(const std::vector<ShakeFrame>& shake, size_t clip, double px_per_rad,
                const std::vector<Knock>& in_parts, double least_px) {
    const auto known = turnsOf(shake, clip);
    const auto turns = bridged(known);
    OwnTurn own;
    own.unknown = int(std::count(known.begin(), known.end(), std::nullopt));
    std::vector<int64_t> from{shake.front().frame};
    for (const auto& knock : in_parts)
        if (size_t(knock.clip) == clip) from.push_back(knock.frame);
    double squares = 0, count = 0;
    for (size_t part = 0; part < from.size(); ++part) {
        std::vector<Matrix3d> within;
        for (size_t i = 0; i < turns.size(); ++i)
            if (shake[i].frame >= from[part] &&
                (part + 1 == from.size() || shake[i].frame < from[part + 1]))
                within.push_back(turns[i]);
        const Matrix3d mean = meanTurn(within);
        own.parts.push_back({from[part], mean});
        for (const auto& turn : within) {
            own.meanFromCamera.emplace_back(mean.transpose() * turn);
            squares += calib::rotationVector(own.meanFromCamera.back()).squaredNorm();
            ++count;
        }
    }
    own.rms_px = px_per_rad * std::sqrt(squares / count);
    const double least =
        std::max(least_px, kSurelyOwn_sigmas * px_per_rad * typicalSigma_rad(shake, clip));
    if (own.rms_px <= least) own.meanFromCamera.clear();
    return own;
}

}  // namespace

const OwnTurn::Part& OwnTurn::partAt(int64_t frame) const {
    size_t i = parts.size() - 1;
    while (i > 0 && parts[i].from_frame > frame) --i;
    return parts[i];
}

std::vector<OwnTurn> ownTurns(const std::vector<ShakeFrame>& shake,
                              const std::vector<double>& px_per_rad,
                              const std::vector<Knock>& in_parts, double least_px) {
    std::vector<OwnTurn> out;
    for (size_t clip = 0; clip < px_per_rad.size(); ++clip)
        out.push_back(ownTurn(shake, clip, px_per_rad[clip], in_parts, least_px));
    return out;
}

std::vector<OwnTurn> turnsOfKnocks(size_t clips, int64_t first_of_take,
                                   const std::vector<Knock>& knocks) {
    std::vector<OwnTurn> out(clips);
    for (size_t clip = 0; clip < clips; ++clip) {
        out[clip].parts.push_back({first_of_take, Matrix3d::Identity()});
        for (const auto& knock : knocks)
            if (size_t(knock.clip) == clip)
                out[clip].parts.push_back(
                    {knock.frame, out[clip].parts.back().startFromMean * knock.beforeFromAfter});
    }
    return out;
}

}  // namespace plateloom::stitch
