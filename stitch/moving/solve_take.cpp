#include "stitch/moving/solve_take.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "calib/angle.h"
#include "calib/said.h"
#include "io/input_error.h"
#include "stitch/mount/first_moment.h"
#include "stitch/mount/mount_solve.h"
#include "stitch/mount/overlap_distance.h"
#include "stitch/mount/own_turns.h"
#include "stitch/moving/shake_pass.h"

namespace plateloom::stitch {

namespace {

constexpr int kMoments = 7;  // that ties come from
// A camera's own turns, RMS: less is not worth taking out, and may be its corners' own.
constexpr double kLeastShake_px = 0.03;

template <class T>
void append(std::vector<T>& to, const std::vector<T>& more) {
    to.insert(to.end(), more.begin(), more.end());
}

std::string nameOf(const Take& take, int clip) {
    return take.clips[size_t(clip)].clip.name;
}

int findClip(const Take& take, const std::string& name) {
    for (size_t c = 0; c < take.clips.size(); ++c)
        if (nameOf(take, int(c)) == name ||
            std::filesystem::path(take.clips[c].clip.pattern).filename() == name)
            return int(c);
    throw io::InputError("--north " + name, "no clip of that name among those given");
}

std::vector<double> pixelsPerRadian(const std::vector<MountCamera>& cameras) {
    std::vector<double> out;
    for (const auto& camera : cameras) out.push_back(camera.focal_px());
    return out;
}

double shakeOf(const std::vector<Matrix3d>& taken_out, const std::vector<double>& px_per_rad) {
    double sum = 0;
    const double px = *std::max_element(px_per_rad.begin(), px_per_rad.end());
    for (const auto& turn : taken_out) {
        const double off =
            calib::angleBetween_deg(Matrix3d::Identity(), turn) * calib::kRadPerDeg * px;
        sum += off * off;
    }
    return taken_out.empty() ? 0 : std::sqrt(sum / double(taken_out.size()));
}

std::vector<FrameRun> unknownOf(const std::vector<ShakeFrame>& shake) {
    std::vector<int64_t> unknown;
    for (const auto& frame : shake)
        if (!frame.known) unknown.push_back(frame.frame);
    return runsFrom(unknown);
}

void tellBlack(const Take& take, const std::vector<BlackRun>& runs, TakeSolve& out) {
    for (const auto& run : runs)
        out.warnings.push_back(
            nameOf(take, run.clip) + " is black " +
            (run.first == run.last
                 ? "at frame " + std::to_string(run.first)
                 : "from frame " + std::to_string(run.first) + " to " + std::to_string(run.last)) +
            ": the other cameras show what they see of its part, the rest stays empty");
}

void tellMissing(const Take& take, TakeSolve& out) {
    for (size_t c = 0; c < take.clips.size(); ++c) {
        int64_t missing = 0, first = 0;
        for (int64_t frame = take.first; frame <= take.last; ++frame)
            if (!take.has(int(c), frame) && missing++ == 0) first = frame;
        if (missing > 0)
            out.warnings.push_back(
                nameOf(take, int(c)) + " lacks " + std::to_string(missing) +
                (missing == 1 ? " frame of the take, " : " frames of the take, the first ") +
                std::to_string(first) + ": left empty where no other camera sees it");
    }
}

void tellKnocks(const Take& take, const std::vector<double>& px_per_rad, bool split,
                TakeSolve& out) {
    const auto& own = out.solved.taken_out.own;
    for (const auto& knock : out.knocks) {
        const bool taken_out = !own.empty() && !own[size_t(knock.clip)].empty();
        const std::string what = saidOf(knock, take, px_per_rad[size_t(knock.clip)]);
        if (split)
            out.notes.push_back(what + "; solved in two parts");
        else if (taken_out)
            out.notes.push_back(what + "; taken out with its shake");
        else
            out.warnings.push_back(what +
                                   "; from there on its seams are off: solve with "
                                   "--split-knocked");
    }
}

void tellUnknown(const std::string& whose, int frames, TakeSolve& out) {
    if (frames == 0) return;
    out.warnings.push_back(whose + " shake could not be told at " + std::to_string(frames) +
                           (frames == 1 ? " frame" : " frames") + ": taken from the frames beside");
}

// What cameras did by themselves: takes shot in turn share no mount, and on one a camera may be
// loose.
void tellOwnShake(const Take& take, const std::vector<OwnTurn>& own, TakeSolve& out) {
    constexpr double kWorthSaying_px = 0.3;
    const bool left_in = out.steady == Steady::none;
    for (size_t c = 0; c < own.size(); ++c) {
        if (own[c].meanFromCamera.empty()) continue;
        const std::string name = nameOf(take, int(c));
        if (!left_in) tellUnknown(name + "'s", own[c].unknown, out);
        const bool knocked = std::any_of(out.knocks.begin(), out.knocks.end(),
                                         [&](const Knock& k) { return size_t(k.clip) == c; });
        const bool on_mount = take.rolled == Rolled::array;
        if (own[c].rms_px < kWorthSaying_px || (knocked && (left_in || on_mount))) continue;
        const std::string shook = name + said(" shook by %.1f px RMS", own[c].rms_px) +
                                  (on_mount ? " by itself, as if loose on the mount" : "");
        if (left_in)
            out.warnings.push_back(shook +
                                   "; that stays in, and seams beside it swim: solve with "
                                   "--steady lock to take it out");
        else
            out.notes.push_back(shook + ": taken out");
    }
}

void tellSeams(const SeamPlan& seams, TakeSolve& out) {
    for (size_t i = 1; i < seams.parts.size(); ++i)
        out.notes.push_back("seams move to frame " + std::to_string(seams.parts[i].frame) + ": " +
                            seams.parts[i].why);
    if (seams.parts.size() == 1) out.notes.push_back("seams stay where they are all the time");
}

void tellDistances(const Take& take, TakeSolve& out) {
    for (const auto& overlap : out.solved.mount.overlaps) {
        double at_infinity = 0, at_best = 0;
        for (const auto& left : overlap.left) {
            if (left.inverse_m == 0) at_infinity = left.parallax_px;
            if (left.inverse_m == overlap.inverse_m) at_best = left.parallax_px;
        }
        out.notes.push_back(
            nameOf(take, overlap.a) + " | " + nameOf(take, overlap.b) + " agree best at " +
            distanceInWords(overlap.inverse_m) + " (most of it from " +
            distanceInWords(1 / overlap.nearest_m) + " to " +
            distanceInWords(1 / overlap.farthest_m) +
            said("): parallax left %.1f px, composed for infinity %.1f px", at_best, at_infinity));
    }
}

// What one pass over the take found.
void takeOver(const TakePass& pass, TakeSolve& out) {
    append(out.notes, out.solved.mount.notes);
    append(out.warnings, out.solved.mount.warnings);
    out.solved.light = pass.light;
    out.solved.black = pass.black;
    out.seams = pass.seams;
    out.typical_light = pass.typical_light;
    append(out.notes, pass.notes);
    append(out.warnings, pass.warnings);
}

// A clip's own shake in the mount's axes, frame by frame. Of an array's camera that stood still
// there is none; takes shot in turn have nothing but their own.
std::vector<std::vector<Matrix3d>> inMountAxes(const Take& take, const Mount& mount,
                                               const std::vector<OwnTurn>& own) {
    std::vector<std::vector<Matrix3d>> out(own.size());
    for (size_t c = 0; c < own.size(); ++c) {
        if (!mount.cameras[c].placed) continue;
        if (take.rolled == Rolled::array && own[c].meanFromCamera.empty()) continue;
        for (int64_t frame = take.first; frame <= take.last; ++frame) {
            const Matrix3d& mountFromMean = mount.cameras[c].at(frame);
            out[c].emplace_back(mountFromMean * own[c].at(frame, take.first) *
                                mountFromMean.transpose());
        }
    }
    return out;
}

// Takes shot in turn: each clip's own shake first, since where it stood is the middle of that.
void solveInTurn(const Take& take, const TakeSolveSettings& settings, const FirstMoment& first,
                 MountSettings mount, const Progress& progress, TakeSolve& out) {
    const auto px_per_rad = pixelsPerRadian(first.cameras);
    const auto shake = shakeOfEach(take, first, progress, &out.times);
    out.knocks = findKnocks(shake, px_per_rad);
    mount.own =
        ownTurns(shake, px_per_rad, settings.split_knocked ? out.knocks : std::vector<Knock>(),
                 kLeastShake_px);
    out.solved.mount = solveMount(take, first, mount, progress, &out.times);
    out.shook.own = inMountAxes(take, out.solved.mount, mount.own);
    if (settings.steady == Steady::lock) out.solved.taken_out = out.shook;
    double squares = 0;
    for (const auto& own : mount.own) {
        out.own_shake_px.push_back(own.meanFromCamera.empty() ? 0 : own.rms_px);
        squares += out.own_shake_px.back() * out.own_shake_px.back();
    }
    out.shake_px = std::sqrt(squares / double(mount.own.size()));
    setDistance({"auto"}, take, out);
    const TakePass pass = passOverTake(take, out.solved, progress, &out.times);
    takeOver(pass, out);
    tellOwnShake(take, mount.own, out);
}

// A mount that turns takes pupils that stand off its centre along, and what is near shifts before
// them: by so much of the mount's shake as the pupil's distance from the centre is of the thing's.
// What a camera turns by less than that may be that.
double leastOwnTurn_px(const FirstMoment& first, const Mount& mount, double shake_px) {
    constexpr double kPlacesUnknown_px = 0.25;
    if (first.one_place) return kLeastShake_px;
    if (!first.pupilsApart()) return kPlacesUnknown_px;
    constexpr double kNearest_m = 2;  // where no overlap tells
    double farthest_m = 0, nearest_m = kNearest_m;
    for (const auto& camera : mount.cameras)
        if (camera.pupil_m) farthest_m = std::max(farthest_m, camera.pupil_m->norm());
    if (!mount.overlaps.empty()) {
        nearest_m = std::numeric_limits<double>::infinity();
        for (const auto& overlap : mount.overlaps)
            if (overlap.nearest_m > 0) nearest_m = std::min(nearest_m, overlap.nearest_m);
    }
    return std::max(kLeastShake_px, shake_px * farthest_m / nearest_m);
}

bool anyTurned(const std::vector<OwnTurn>& own) {
    return std::any_of(own.begin(), own.end(),
                       [](const OwnTurn& one) { return !one.meanFromCamera.empty(); });
}

// An array: the mount, then its shake, against which a camera shows that was knocked, or that turns
// by itself because it is loose.
void solveArray(const Take& take, const TakeSolveSettings& settings, const FirstMoment& first,
                MountSettings mount, const Progress& progress, TakeSolve& out) {
    const auto px_per_rad = pixelsPerRadian(first.cameras);
    const auto solve = [&] {
        out.solved.mount = solveMount(take, first, mount, progress, &out.times);
        setDistance({"auto"}, take, out);
    };
    mount.own = turnsOfKnocks(take.clips.size(), take.first, {});
    solve();
    TakePass pass = passOverTake(take, out.solved, progress, &out.times);
    const auto shake = std::move(pass.shake);
    out.knocks = findKnocks(shake, px_per_rad);
    const bool split = settings.split_knocked && !out.knocks.empty();
    const double least_px = leastOwnTurn_px(first, out.solved.mount,
                                            shakeOf(takenOut(shake, Steady::lock), px_per_rad));
    const auto own =
        ownTurns(shake, px_per_rad, split ? out.knocks : std::vector<Knock>(), least_px);
    const bool loose = settings.steady != Steady::none && anyTurned(own);
    if (split || loose) {
        mount.own = loose ? own : turnsOfKnocks(take.clips.size(), take.first, out.knocks);
        solve();
    }
    if (split) pass = passOverTake(take, out.solved, progress, &out.times);
    takeOver(pass, out);
    out.shook.shared = takenOut(split && !loose ? pass.shake : shake,
                                settings.steady == Steady::none ? Steady::lock : settings.steady);
    if (loose) out.shook.own = inMountAxes(take, out.solved.mount, own);
    out.shake_px = shakeOf(out.shook.shared, px_per_rad);
    out.shake_unknown = unknownOf(shake);
    tellOwnShake(take, own, out);
    if (settings.steady == Steady::none) return;
    out.solved.taken_out = out.shook;
    tellUnknown("the mount's",
                int(std::count_if(shake.begin(), shake.end(),
                                  [](const auto& frame) { return !frame.known; })),
                out);
}

}  // namespace

TakeSolve solveTake(const Take& take, const TakeSolveSettings& settings, const Progress& progress) {
    if (take.rolled == Rolled::in_turn && settings.steady == Steady::follow)
        throw io::InputError("--steady follow",
                             "takes shot in turn share no path to follow; lock takes each one's "
                             "own shake out");
    TakeSolve out;
    out.steady = settings.steady;
    append(out.notes, take.notes);
    append(out.warnings, take.warnings);
    SolveSettings still = settings.solve;
    if (!settings.north.empty()) still.north = findClip(take, settings.north);
    MountSettings mount;
    mount.moments = spreadMoments(take, kMoments);
    mount.threads = settings.solve.threads;
    const FirstMoment first = solveFirstMoment(take, mount.moments, still, progress, &out.times);
    if (std::none_of(first.cameras.begin(), first.cameras.end(),
                     [](const auto& camera) { return camera.placed; }))
        throw io::InputError(take.clips.front().clip.pattern,
                             "no camera of the take could be placed at any moment that was tried");
    if (take.rolled == Rolled::in_turn)
        solveInTurn(take, settings, first, mount, progress, out);
    else
        solveArray(take, settings, first, mount, progress, out);
    tellMissing(take, out);
    tellBlack(take, out.solved.black, out);
    tellKnocks(take, pixelsPerRadian(out.solved.mount.cameras), settings.split_knocked, out);
    tellSeams(out.seams, out);
    tellDistances(take, out);
    return out;
}

void setDistance(const std::vector<std::string>& asked, const Take& take, TakeSolve& solve) {
    auto& mount = solve.solved.mount;
    const bool apart = std::any_of(mount.cameras.begin(), mount.cameras.end(), [](const auto& c) {
        return c.pupil_m && c.pupil_m->norm() > 1e-3;
    });
    // Nothing stands among the cameras themselves, or nearer than a hand.
    double nearest_m = 0.1;
    for (const auto& camera : mount.cameras)
        if (camera.pupil_m) nearest_m = std::max(nearest_m, 1.5 * camera.pupil_m->norm());
    const auto inverseOf = [nearest_m](const std::string& text, const std::string& whole) {
        if (text == "infinity") return 0.0;
        size_t used = 0;
        double metres = 0;
        try {
            metres = std::stod(text, &used);
        } catch (const std::exception&) {
            used = 0;
        }
        if (used != text.size() || text.empty() || !(metres > 0) || !std::isfinite(metres))
            throw io::InputError("--distance " + whole,
                                 "give metres, infinity, auto, or CLIP:CLIP=METRES for one seam");
        if (metres < nearest_m)
            throw io::InputError("--distance " + whole,
                                 said("is nearer than the cameras can be composed for: give %.2g m "
                                      "or more",
                                      nearest_m));
        return 1 / metres;
    };
    ComposeDistance distance;
    bool each = false;
    std::vector<double> own;
    for (const auto& overlap : mount.overlaps) own.push_back(overlap.inverse_m);
    for (const auto& text : asked) {
        const size_t equals = text.find('='), colon = text.find(':');
        if (text == "auto") {
            each = !mount.overlaps.empty();
            for (size_t i = 0; i < own.size(); ++i) own[i] = mount.overlaps[i].inverse_m;
        } else if (equals == std::string::npos) {
            distance.inverse_m = inverseOf(text, text);
            each = false;
            std::fill(own.begin(), own.end(), distance.inverse_m);
        } else {
            const double inverse = inverseOf(text.substr(equals + 1), text);
            const std::string a = text.substr(0, std::min(colon, equals));
            const std::string b =
                colon < equals ? text.substr(colon + 1, equals - colon - 1) : std::string();
            bool found = false;
            for (size_t i = 0; i < own.size(); ++i) {
                const auto one = nameOf(take, mount.overlaps[i].a),
                           other = nameOf(take, mount.overlaps[i].b);
                if ((one != a || other != b) && (one != b || other != a)) continue;
                own[i] = inverse;
                found = each = true;
            }
            if (!found)
                throw io::InputError("--distance " + text,
                                     "names no overlap whose cameras' places are known");
        }
    }
    if (!apart) {
        const bool only_auto =
            std::all_of(asked.begin(), asked.end(), [](const auto& t) { return t == "auto"; });
        if (!only_auto)
            solve.warnings.push_back(
                "--distance does nothing: the lens tracks do not say where the cameras stand "
                "(translation and entrance pupil offset)");
        solve.solved.distance.reset();
        return;
    }
    if (each)
        for (size_t i = 0; i < own.size(); ++i)
            distance.at.push_back({mount.overlaps[i].direction, own[i]});
    solve.solved.distance = std::make_shared<const ComposeDistance>(distance);
}

}  // namespace plateloom::stitch
