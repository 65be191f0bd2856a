#include "stitch/moving/take_light.h"

#include <algorithm>
#include <cmath>

#include "calib/median.h"

namespace plateloom::stitch {

namespace {

// Frames to either side that a smoothed gain hears.
constexpr int kReach = 8;
// Keys are left out where the straight line between others comes this near (natural log).
constexpr double kTolerance = 2e-4;

using Log = std::array<double, 3>;
using Gains = std::vector<std::vector<std::optional<Log>>>;  // by frame, by clip
constexpr double kLn2 = 0.69314718055994531;

// Local straight line, tricube weights (Cleveland, Robust Locally Weighted Regression and
// Smoothing Scatterplots, JASA 74, 1979).
Log smoothAt(const std::vector<int64_t>& frames, const std::vector<Log>& values, size_t at) {
    double w = 0, x = 0, xx = 0;
    Log y{}, xy{};
    for (size_t i = 0; i < frames.size(); ++i) {
        const double d = double(frames[i] - frames[at]), u = std::abs(d) / (kReach + 1);
        if (u >= 1) continue;
        const double weight = std::pow(1 - u * u * u, 3);
        w += weight;
        x += weight * d;
        xx += weight * d * d;
        for (size_t c = 0; c < 3; ++c) {
            y[c] += weight * values[i][c];
            xy[c] += weight * d * values[i][c];
        }
    }
    Log out;
    const double determinant = w * xx - x * x;
    for (size_t c = 0; c < 3; ++c)
        out[c] = determinant > 1e-9 * w * w ? (xx * y[c] - x * xy[c]) / determinant : y[c] / w;
    return out;
}

// Douglas and Peucker, Algorithms for the reduction of the number of points (Cartographica 10(2),
// 1973), on value against time.
void keepKeys(const std::vector<int64_t>& frames, const std::vector<Log>& values, size_t first,
              size_t last, std::vector<char>& keep) {
    if (last <= first + 1) return;
    size_t worst = first;
    double most = kTolerance;
    for (size_t i = first + 1; i < last; ++i) {
        const double share =
            double(frames[i] - frames[first]) / double(frames[last] - frames[first]);
        for (size_t c = 0; c < 3; ++c) {
            const double off =
                std::abs(values[i][c] - (1 - share) * values[first][c] - share * values[last][c]);
            if (off > most) most = off, worst = i;
        }
    }
    if (worst == first) return;
    keep[worst] = 1;
    keepKeys(frames, values, first, worst, keep);
    keepKeys(frames, values, worst, last, keep);
}

std::vector<GainKey> keysOf(const std::vector<int64_t>& frames, const std::vector<Log>& values) {
    std::vector<char> keep(frames.size(), 0);
    keep.front() = keep.back() = 1;
    keepKeys(frames, values, 0, frames.size() - 1, keep);
    std::vector<GainKey> keys;
    for (size_t i = 0; i < frames.size(); ++i) {
        if (!keep[i]) continue;
        keys.push_back(
            {frames[i], {std::exp(values[i][0]), std::exp(values[i][1]), std::exp(values[i][2])}});
    }
    // A gain that stands still is one key.
    const auto same = [](double a, double b) { return std::abs(std::log(a / b)) < kTolerance; };
    if (keys.size() == 2 && same(keys[0].gain[0], keys[1].gain[0]) &&
        same(keys[0].gain[1], keys[1].gain[1]) && same(keys[0].gain[2], keys[1].gain[2]))
        keys.pop_back();
    return keys;
}

// What is usual of each clip. Each frame's gains are told against the frame's own mean, which goes
// along with any one camera that moves, and with any that is missing; here it is taken out. Most
// cameras standing still decides.
std::vector<Log> standStill(Gains& gains, size_t clips) {
    std::vector<Log> usual(clips);
    for (int round = 0; round < 3; ++round) {
        for (size_t clip = 0; clip < clips; ++clip)
            for (size_t c = 0; c < 3; ++c) {
                std::vector<double> values;
                for (const auto& frame : gains)
                    if (frame[clip]) values.push_back((*frame[clip])[c]);
                usual[clip][c] = calib::median(values);
            }
        for (auto& frame : gains)
            for (size_t c = 0; c < 3; ++c) {
                std::vector<double> moved;
                for (size_t clip = 0; clip < clips; ++clip)
                    if (frame[clip]) moved.push_back((*frame[clip])[c] - usual[clip][c]);
                if (moved.empty()) continue;
                // Between two in the middle, the mean: neither is to be believed more.
                std::sort(moved.begin(), moved.end());
                const double shift =
                    0.5 * (moved[(moved.size() - 1) / 2] + moved[moved.size() / 2]);
                for (size_t clip = 0; clip < clips; ++clip)
                    if (frame[clip]) (*frame[clip])[c] -= shift;
            }
    }
    return usual;
}

// Over the clips that have a gain anywhere.
Log meanOf(const std::vector<Log>& usual, const Gains& gains) {
    Log mean{};
    double count = 0;
    for (size_t clip = 0; clip < usual.size(); ++clip) {
        if (std::none_of(gains.begin(), gains.end(),
                         [&](const auto& frame) { return frame[clip].has_value(); }))
            continue;
        for (size_t c = 0; c < 3; ++c) mean[c] += usual[clip][c];
        ++count;
    }
    for (double& value : mean) value /= std::max(1.0, count);
    return mean;
}

// One clip's gains against that mean, smoothed.
std::vector<GainKey> keysOfClip(const std::vector<int64_t>& all_frames, const Gains& gains,
                                size_t clip, const Log& mean) {
    std::vector<int64_t> frames;
    std::vector<Log> values, smooth;
    for (size_t f = 0; f < all_frames.size(); ++f) {
        if (!gains[f][clip]) continue;
        frames.push_back(all_frames[f]);
        Log value = *gains[f][clip];
        for (size_t c = 0; c < 3; ++c) value[c] -= mean[c];
        values.push_back(value);
    }
    if (frames.empty()) return {GainKey{}};
    for (size_t i = 0; i < frames.size(); ++i) smooth.push_back(smoothAt(frames, values, i));
    return keysOf(frames, smooth);
}

}  // namespace

std::array<float, 3> CameraLight::gainAt(int64_t frame, std::optional<double> stops) const {
    std::array<double, 3> gain = keys.front().gain;
    for (size_t k = 0; k + 1 < keys.size(); ++k) {
        const GainKey &from = keys[k], &to = keys[k + 1];
        if (frame <= from.frame) break;
        const double share =
            std::min(1.0, double(frame - from.frame) / double(to.frame - from.frame));
        for (size_t c = 0; c < 3; ++c)
            gain[c] = from.gain[c] * std::pow(to.gain[c] / from.gain[c], share);
        if (frame <= to.frame) break;
    }
    const double known = stops && known_stops ? std::exp2(*known_stops - *stops) : 1;
    return {float(gain[0] * known), float(gain[1] * known), float(gain[2] * known)};
}

void TakeLight::add(int64_t frame, const std::vector<int>& clip,
                    const std::vector<std::array<float, 3>>& gains,
                    const std::vector<std::optional<double>>& stops) {
    std::vector<std::optional<Voice>> voices(clips_);
    for (size_t i = 0; i < clip.size(); ++i) {
        Voice voice{frame, {}, stops[i]};
        for (size_t c = 0; c < 3; ++c) voice.log_gain[c] = std::log(double(gains[i][c]));
        voices[size_t(clip[i])] = voice;
    }
    frames_.push_back(frame);
    voices_.push_back(std::move(voices));
}

std::optional<double> TakeLight::knownStops(size_t clip) const {
    std::optional<double> first;
    for (const auto& voices : voices_) {
        if (!voices[clip]) continue;
        if (!voices[clip]->stops) return std::nullopt;
        if (!first) first = voices[clip]->stops;
    }
    return first;
}

std::vector<CameraLight> TakeLight::finish() const {
    std::vector<CameraLight> out(clips_);
    Gains unexplained(frames_.size(), std::vector<std::optional<Log>>(clips_));
    for (size_t clip = 0; clip < clips_; ++clip) {
        out[clip].known_stops = knownStops(clip);
        for (size_t f = 0; f < frames_.size(); ++f) {
            const auto& voice = voices_[f][clip];
            if (!voice) continue;
            const double known =
                out[clip].known_stops ? kLn2 * (*voice->stops - *out[clip].known_stops) : 0;
            unexplained[f][clip] = Log{voice->log_gain[0] + known, voice->log_gain[1] + known,
                                       voice->log_gain[2] + known};
        }
    }
    const std::vector<Log> usual = standStill(unexplained, clips_);
    const Log mean = meanOf(usual, unexplained);
    for (size_t clip = 0; clip < clips_; ++clip)
        out[clip].keys = keysOfClip(frames_, unexplained, clip, mean);
    return out;
}

}  // namespace plateloom::stitch
