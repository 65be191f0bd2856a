#include "stitch/calibrate/chart_measure.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "calib/angle.h"
#include "calib/median.h"
#include "calib/rotation_vector.h"
#include "calib/said.h"
#include "io/input_error.h"
#include "stitch/calibrate/chart_figures.h"

namespace plateloom::stitch {

using plateloom::said;

namespace {

constexpr size_t kLeastPictures = 3;

// A point further off than this many sigma of the rest is no point of the board (and by no less
// than a hand's breadth of the detector's own error).
constexpr double kPointSigmas = 6, kPointLeast_px = 0.4;
// A picture with more such points than this, or with residuals this many times as large as the
// others', does not show the same rigid board.
constexpr double kWrongShare = 0.15, kWrongTimes = 3;
// Edges this much wider than the other pictures' are out of focus or moved.
constexpr double kBlurTimes = 1.8, kBlurLeast_px = 1.0;

struct Work {
    const ChartTask& task;
    ChartMeasurement out;
    calib::ChartFit fit;
    std::vector<size_t> shown;  // pictures in `out` that the fit's views belong to

    [[nodiscard]] std::vector<calib::ChartView> views() const {
        std::vector<calib::ChartView> views;
        for (const size_t p : shown) {
            calib::ChartView view;
            for (const auto& point : out.pictures[p].points) {
                if (!point.used) continue;
                view.point.push_back(point.point);
                view.recorded_px.push_back(point.recorded_px);
            }
            views.push_back(std::move(view));
        }
        return views;
    }
    void leaveOut(size_t picture, const std::string& why) {
        out.pictures[picture].used = false;
        out.pictures[picture].why_not = why;
        const auto at = std::find(shown.begin(), shown.end(), picture);
        if (at == shown.end()) return;
        if (fit.usable) fit.poses.erase(fit.poses.begin() + (at - shown.begin()));
        shown.erase(at);
    }
};

Work begin(const ChartTask& task) {
    Work work{task, {}, {}, {}};
    auto& out = work.out;
    out.setting = task.setting;
    out.sensor = task.sensor;
    double dots_mm = 0, count = 0;
    for (const auto& found : task.pictures) {
        ChartPicture picture;
        picture.file = found.file;
        if (!found.board) {
            picture.used = false;
            picture.why_not = "no board found";
        } else {
            for (size_t i = 0; i < found.board->point.size(); ++i)
                picture.points.push_back({found.board->point[i], found.board->px[i], {0, 0}, true});
            picture.edge_px = found.board->edge_px;
            if (work.shown.empty()) {
                out.board = boardOf(*found.board, task.board);
                out.board_kind = found.board->kind;
            }
            dots_mm += found.board->dot_mm;
            ++count;
            work.shown.push_back(out.pictures.size());
        }
        out.pictures.push_back(std::move(picture));
    }
    if (!task.board.dot_mm && count > 0) out.board.dot_mm = dots_mm / count;
    return work;
}

void refuseTooFew(const Work& work) {
    if (work.shown.size() >= kLeastPictures) return;
    const auto& pictures = work.out.pictures;
    const auto bare = std::count_if(pictures.begin(), pictures.end(),
                                    [](const ChartPicture& p) { return p.points.empty(); });
    throw io::InputError(
        work.shown.size() == 1 ? pictures[work.shown.front()].file : pictures.front().file,
        said("%zu of %zu pictures (%s) can be used; a lens needs %zu at the very least, and ten or "
             "more with the board tilted to all sides and out to the frame's corners are good%s",
             work.shown.size(), pictures.size(), toString(work.out.setting).c_str(), kLeastPictures,
             bare == 0 ? ""
                       : said("; %td %s no such board: check --board and --squares", bare,
                              bare == 1 ? "shows" : "show")
                             .c_str()));
}

void leaveOutBlurred(Work& work) {
    std::vector<double> edges;
    for (const size_t p : work.shown)
        if (work.out.pictures[p].edge_px > 0) edges.push_back(work.out.pictures[p].edge_px);
    const double usual = calib::median(edges);
    const auto shown = work.shown;
    for (const size_t p : shown) {
        const double edge = work.out.pictures[p].edge_px;
        if (edge < kBlurTimes * usual || edge < usual + kBlurLeast_px) continue;
        work.leaveOut(
            p, said("blurred: its edges are %.1f px wide, the other pictures' %.1f", edge, usual));
    }
}

// Points and pictures that the rest contradicts. True when something was left out.
bool leaveOutWrong(Work& work) {
    const auto& residuals = work.fit.residual_px;
    std::vector<double> sizes;
    for (const auto& picture : residuals) {
        std::vector<double> lengths;
        for (const auto& r : picture) lengths.push_back(r.norm());
        sizes.push_back(calib::median(lengths));
    }
    const double usual = calib::median(sizes);
    const double limit_px = std::max(kPointSigmas * work.fit.noise_px, kPointLeast_px);
    bool changed = false;
    std::vector<std::pair<size_t, std::string>> wrong;
    for (size_t v = 0; v < residuals.size(); ++v) {
        auto& picture = work.out.pictures[work.shown[v]];
        size_t off = 0;
        for (const auto& r : residuals[v]) off += r.norm() > limit_px;
        const double share = double(off) / double(residuals[v].size());
        if (share > kWrongShare || (sizes[v] > kWrongTimes * usual && sizes[v] > kPointLeast_px)) {
            double square = 0;
            for (const auto& r : residuals[v]) square += r.squaredNorm();
            wrong.emplace_back(
                work.shown[v],
                said("its points don't fit the others' lens (%.2f px RMS, the rest %.3f): the "
                     "board moved, bent, or is another",
                     std::sqrt(square / double(residuals[v].size())), usual));
            continue;
        }
        size_t i = 0;
        for (auto& point : picture.points) {
            if (!point.used) continue;
            if (residuals[v][i++].norm() <= limit_px) continue;
            point.used = false;
            changed = true;
        }
    }
    for (const auto& [picture, why] : wrong) work.leaveOut(picture, why);
    return changed || !wrong.empty();
}

calib::ChartSettings settingsFor(double noise_px) {
    calib::ChartSettings settings;
    settings.loss_px = std::clamp(4 * noise_px, 0.1, 1.0);
    return settings;
}

// A model of middling freedom finds out what does not belong; the choice of terms comes after.
void settle(Work& work) {
    const auto& task = work.task;
    work.fit = calib::startChart(work.out.board, work.views(), task.sensor, task.direction,
                                 task.setting.focal_mm);
    if (!work.fit.usable)
        throw io::InputError(work.out.pictures.front().file,
                             "no lens explains the boards in these pictures (" +
                                 toString(task.setting) + "); check --squares and --sensor");
    calib::ChartModel model{task.direction, 2, 0, calib::CentreTerms::axis,
                            calib::ShapeTerms::flat};
    for (int round = 0; round < 4; ++round) {
        auto fit = calib::fitChart(work.out.board, work.views(), task.sensor, model, work.fit,
                                   settingsFor(1));
        if (!fit.usable) break;
        work.fit = std::move(fit);
        if (!leaveOutWrong(work)) break;
        refuseTooFew(work);
    }
}

calib::ChartChoice choose(const Work& work, const std::vector<calib::ChartView>& views,
                          const std::function<void(double)>& progress) {
    calib::ChoiceSettings settings;
    settings.solve = settingsFor(work.fit.noise_px);
    settings.board_shape = work.task.board_shape;
    settings.polynomial = work.task.polynomial;
    settings.solve.axis_mm = work.task.axis_mm;
    double share = 0;
    settings.forEach = [&](int count, const std::function<void(int)>& body) {
        if (progress) progress(share += 0.02);
        tbb::parallel_for(0, count, body);
    };
    const auto& task = work.task;
    if (task.model)
        return calib::judgeModel(work.out.board, views, task.sensor, *task.model, work.fit,
                                 settings);
    return calib::chooseModel(work.out.board, views, task.sensor, work.fit, settings);
}

void takePictures(Work& work, const calib::ChartChoice& choice,
                  const std::vector<calib::ChartView>& views) {
    auto& out = work.out;
    const calib::LensMap map(choice.fit.lens, out.sensor);
    for (size_t v = 0; v < work.shown.size(); ++v) {
        auto& picture = out.pictures[work.shown[v]];
        picture.pose = choice.fit.poses[v];
        picture.distance_m = picture.pose.place_mm.norm() / 1000;
        const calib::Matrix3d turn = calib::rotationOf(picture.pose.turn);
        picture.tilt_deg = calib::kDegPerRad * std::acos(std::clamp(turn(1, 2), -1.0, 1.0));
        picture.held_out_rms_px = std::sqrt(choice.held_out.mean_square_px[v]);
        double square = 0;
        size_t i = 0;
        std::vector<calib::Vector2d> recorded, flat;
        for (auto& point : picture.points) {
            if (point.used) {
                // A dot's middle, not the middle of its picture.
                point.recorded_px = views[v].recorded_px[i];
                point.residual_px = choice.fit.residual_px[v][i++];
                square += point.residual_px.squaredNorm();
            }
            recorded.push_back(point.recorded_px);
            const auto mm = map.flatFromRecorded_mm(mmFromPixel(out.sensor, point.recorded_px));
            flat.push_back(mm ? pixelFromMm(out.sensor, *mm) : point.recorded_px);
        }
        picture.rms_px = std::sqrt(square / double(std::max<size_t>(1, i)));
        picture.recorded = straightnessOf(out.board, picture.points, recorded);
        picture.flat = straightnessOf(out.board, picture.points, flat);
    }
}

// Whether the pictures can tell one thing from another at all.
void judge(ChartMeasurement& out) {
    constexpr double kRefuse = 0.02, kWarn = 0.002, kSupported = 0.9;
    const double share = out.focal_sigma_mm / out.lens.focal_mm;
    double most_tilt = 0;
    for (const auto& picture : out.pictures)
        if (picture.used) most_tilt = std::max(most_tilt, picture.tilt_deg);
    const std::string where = toString(out.setting);
    if (!(share < kRefuse))
        throw io::InputError(
            out.pictures.front().file,
            said("the boards (%s) are all seen at much the same angle, so that the focal length "
                 "can't be told from the distance (%.4g mm, one sigma %.2g mm); shoot some with "
                 "the board tilted by 30 to 45 degrees to each side",
                 where.c_str(), out.lens.focal_mm, out.focal_sigma_mm));
    if (share > kWarn)
        out.warnings.push_back(said(
            "%s: the focal length is known to %.2f %% only (the board is tilted by %.0f "
            "degrees at most); more pictures tilted to each side by 30 to 45 degrees tell more",
            where.c_str(), 100 * share, most_tilt));
    if (out.support.share < kSupported)
        out.warnings.push_back(
            said("%s: the chart's points reach %.0f %% of the way to the frame's corners; beyond "
                 "that the distortion is a guess: bring the board out into the corners",
                 where.c_str(), 100 * out.support.share));
    constexpr size_t kSound = 6;
    size_t used = 0, without = 0;
    for (const auto& picture : out.pictures) {
        used += picture.used;
        without += !picture.used;
    }
    if (used < kSound)
        out.warnings.push_back(
            said("%s: %zu pictures only; ten or more, the board tilted to all sides, make a sound "
                 "measurement",
                 where.c_str(), used));
    else if (2 * without > out.pictures.size())
        out.warnings.push_back(said("%s: more pictures are left out (%zu) than used (%zu)",
                                    where.c_str(), without, used));
}

}  // namespace

ChartMeasurement measureLens(const ChartTask& task, const std::function<void(double)>& progress) {
    Work work = begin(task);
    refuseTooFew(work);
    leaveOutBlurred(work);
    refuseTooFew(work);
    settle(work);
    refuseTooFew(work);

    auto& out = work.out;
    const auto found = work.views();
    auto views = calib::withDotsCentred(out.board, found, task.sensor, work.fit);
    auto choice = choose(work, views, progress);
    if (out.board.dot_mm > 0) {
        // Where a dot's middle lies depends on the lens a little; once more is enough.
        views = calib::withDotsCentred(out.board, found, task.sensor, choice.fit);
        calib::ChoiceSettings again;
        again.solve = settingsFor(choice.fit.noise_px);
        again.solve.sigmas = true;
        again.solve.axis_mm = task.axis_mm;
        choice.fit = calib::fitChart(out.board, views, task.sensor, choice.fit.model, choice.fit,
                                     again.solve);
        choice.held_out = calib::scoreHeldOut(out.board, views, task.sensor, choice.fit, again);
    }
    if (!choice.fit.usable || faultOf(choice.fit.lens, task.sensor))
        throw io::InputError(out.pictures.front().file,
                             "no usable lens comes out of these pictures (" +
                                 toString(task.setting) + "): they cover too little of the frame");
    out.lens = choice.fit.lens;
    out.lens.focus_m = task.setting.focus_m;
    out.lens.t_stop = task.setting.t_stop;
    out.model = choice.fit.model;
    out.shape = choice.fit.shape;
    out.tried = choice.tried;
    out.rms_px = choice.fit.rms_px;
    out.noise_px = choice.fit.noise_px;
    out.held_out_rms_px = choice.held_out.rms_px;
    out.focal_sigma_mm = std::max(choice.fit.focal_sigma_mm, choice.focal_jackknife_mm);
    out.axis_sigma_mm = choice.fit.axis_sigma_mm;
    out.tangential_sigma = choice.fit.tangential_sigma;
    out.radial_sigma_mm = choice.fit.radial_sigma_mm;
    out.centre_sigma_mm = choice.fit.centre_sigma_mm.cwiseMax(choice.centre_jackknife_mm);
    takePictures(work, choice, views);
    out.support = supportOf(out.pictures, out.sensor);
    out.distortion = distortionCurve(out.lens, out.sensor, out.support.reach_mm);
    out.recorded = together(out.pictures, &ChartPicture::recorded);
    out.flat = together(out.pictures, &ChartPicture::flat);
    judge(out);
    return std::move(work.out);
}

}  // namespace plateloom::stitch
