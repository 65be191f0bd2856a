#include "stitch/moving/take_pass.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "calib/median.h"
#include "stitch/compose/compose.h"
#include "stitch/compose/exposure.h"
#include "stitch/job/stage_clock.h"
#include "stitch/moving/frame_runs.h"
#include "stitch/moving/shake_pass.h"
#include "stitch/plates/light_store.h"

namespace plateloom::stitch {

namespace {

// A camera whose light falls to less than this share of what it usually is shows nothing: a dropped
// signal, not a dark scene.
constexpr double kBlackShare = 1.0 / 32;

// Mean luminance of every 16th pixel along both axes, exposure as known taken out.
double levelOf(const io::PlatePixels& pixels, std::optional<double> stops) {
    constexpr int kStep = 16;
    double sum = 0, count = 0;
    for (int y = kStep / 2; y < pixels.height; y += kStep)
        for (int x = kStep / 2; x < pixels.width; x += kStep) {
            float rgba[4];
            pixels.read(x, y, rgba);
            if (!(rgba[3] > 0)) continue;
            sum += double(rgba[0]) + double(rgba[1]) + double(rgba[2]);
            ++count;
        }
    const double level = count > 0 ? sum / (3 * count) : 0;
    return stops ? level * std::exp2(-*stops) : level;
}

PanoramaGrid gridFor(const SolvedTake& solved) {
    PanoramaGrid grid;
    grid.projection = Projection::equirectangular;
    grid.width = nativeWidth(standingPlates(solved));
    grid.height = grid.width / 2;
    return grid;
}

class Pass {
public:
    Pass(const Take& take, const SolvedTake& solved, const Progress& progress)
        : take_(take),
          solved_(solved),
          clock_(progress),
          grid_(gridFor(solved)),
          shake_(int(take.clips.size()), false),
          light_(int(take.clips.size())),
          black_frames_(take.clips.size()) {
        if (solved_.light.empty()) solved_.light.assign(take.clips.size(), {{GainKey{}}, {}});
    }

    TakePass run(std::vector<StageTime>* times) {
        lookAtMoments();
        for (int64_t frame = take_.first; frame <= take_.last; ++frame) {
            clock_.begin("the take");
            clock_.tell(double(frame - take_.first) / double(take_.frames()));
            add(frame);
        }
        clock_.begin("light and seams");
        for (size_t c = 0; c < black_frames_.size(); ++c)
            for (const auto& [first, last] : runsFrom(black_frames_[c]))
                out_.black.push_back({int(c), first, last});
        out_.light = light_.finish();
        out_.seams = planner_->finish();
        clock_.end();
        if (times) times->insert(times->end(), clock_.times().begin(), clock_.times().end());
        return std::move(out_);
    }

private:
    // A frame with the gains that its own overlaps give, black cameras marked absent.
    struct Lit {
        TakeFrame frame;
        std::vector<std::array<float, 3>> gains;  // one a plate
        std::vector<int> shown;                   // plates that are there
        std::vector<double> level;                // one a clip, below 0 where it has no frame
    };

    Lit lit(int64_t number) {
        Lit out;
        out.frame = takeFrame(take_, solved_, number);
        TakeFrame& frame = out.frame;
        const size_t count = frame.plates.size();
        out.level.assign(take_.clips.size(), -1);
        std::vector<double> level(count, 0);
        std::vector<LightCells> cells(count);
        tbb::parallel_for(size_t(0), count, [&](size_t i) {
            if (frame.absent[i]) return;
            const auto pixels = frame.store->get(int(i));
            level[i] = levelOf(*pixels, frame.stops[i]);
            PlacedPlate plain = frame.plates[i];
            plain.gain = {1, 1, 1};
            cells[i] = lightCells(plain, *pixels);
        });
        for (size_t i = 0; i < count; ++i) {
            clock_.add(double(frame.plates[i].lens.sensor().width_px) *
                       frame.plates[i].lens.sensor().height_px);
            const auto clip = size_t(frame.clip[i]);
            const bool black = !frame.absent[i] && !usual_level_.empty() &&
                               level[i] < kBlackShare * usual_level_[clip];
            if (black) {
                black_frames_[clip].push_back(number);
                frame.absent[i] = 1;
            }
            if (frame.absent[i]) continue;
            out.shown.push_back(int(i));
            out.level[clip] = level[i];
        }
        std::vector<PlacedPlate> plates;
        std::vector<LightCells> shown_cells;
        std::vector<std::optional<double>> stops;
        std::vector<int> clips;
        for (const int i : out.shown) {
            plates.push_back(frame.plates[size_t(i)]);
            shown_cells.push_back(std::move(cells[size_t(i)]));
            stops.push_back(frame.stops[size_t(i)]);
            clips.push_back(frame.clip[size_t(i)]);
        }
        out.gains.assign(count, {1, 1, 1});
        const auto gains = balanceExposure(plates, shown_cells, stops).gains;
        for (size_t k = 0; k < out.shown.size(); ++k) {
            out.gains[size_t(out.shown[k])] = gains[k];
            frame.plates[size_t(out.shown[k])].gain = gains[k];
        }
        if (planner_) light_.add(number, clips, gains, stops);
        return out;
    }

    // What is usual: each camera's light, and how plates differ where nothing moves.
    void lookAtMoments() {
        clock_.begin("moments");
        const auto& moments = solved_.mount.moments;
        std::vector<Overview> overviews;
        std::vector<std::vector<char>> absent;
        std::vector<std::vector<double>> levels;
        std::vector<int> clip_of_plate;
        for (size_t m = 0; m < moments.size(); ++m) {
            clock_.tell(double(m) / double(moments.size()));
            Lit one = lit(moments[m]);
            overviews.push_back(makeOverview(one.frame.plates, *one.frame.store, grid_,
                                             OverviewUse::seams, kTakeOverviewAcross));
            absent.push_back(one.frame.absent);
            levels.push_back(one.level);
            clip_of_plate = one.frame.clip;
        }
        usual_level_.resize(take_.clips.size(), 0);
        for (size_t c = 0; c < usual_level_.size(); ++c) {
            std::vector<double> seen;
            for (const auto& level : levels)
                if (level[c] >= 0) seen.push_back(level[c]);
            usual_level_[c] = calib::median(seen);
        }
        std::vector<double> typical;
        Overview middle = overviews[overviews.size() / 2];
        room_ = DifferenceTables(middle);
        DifferenceTables usual = room_;
        for (size_t m = 0; m < overviews.size(); ++m) {
            typical.push_back(double(overviews[m].typical));
            for (size_t i = 0; i < absent[m].size(); ++i) {
                const auto clip = size_t(clip_of_plate[i]);
                if (levels[m][clip] < kBlackShare * usual_level_[clip]) absent[m][i] = 1;
            }
            DifferenceTables now = room_;
            now.fill(overviews[m], absent[m]);
            // Where steadied plates reach from frame to frame is another matter each time.
            if (!solved_.taken_out.empty()) keepShared(middle, overviews[m], absent[m]);
            usual.addShare(now, 1 / float(overviews.size()));
        }
        out_.typical_light = calib::median(typical);
        std::vector<std::string> names;
        for (size_t c = 0; c < take_.clips.size(); ++c)
            if (solved_.mount.cameras[c].placed) names.push_back(take_.clips[c].clip.name);
        planner_.emplace(std::move(middle), std::move(usual), names);
    }

    void add(int64_t number) {
        Lit one = lit(number);
        TakeFrame& frame = one.frame;
        // Of takes shot in turn it is known already (shake_pass.h).
        if (take_.rolled == Rolled::array)
            out_.shake.push_back(shake_.add(number, shakeViews(frame, solved_.mount, one.shown)));
        const Overview overview = makeOverview(frame.plates, *frame.store, grid_,
                                               OverviewUse::light, kTakeOverviewAcross);
        DifferenceTables now = room_;
        now.fill(overview, frame.absent);
        planner_->add(number, std::move(now));
    }

    const Take& take_;
    SolvedTake solved_;
    StageClock clock_;
    PanoramaGrid grid_;
    ShakeTracker shake_;
    TakeLight light_;
    std::optional<SeamPlanner> planner_;
    DifferenceTables room_;                           // empty, for one frame's differences
    std::vector<double> usual_level_;                 // one a clip, over the moments
    std::vector<std::vector<int64_t>> black_frames_;  // one a clip
    TakePass out_;
};

}  // namespace

TakePass passOverTake(const Take& take, const SolvedTake& solved, const Progress& progress,
                      std::vector<StageTime>* times) {
    return Pass(take, solved, progress).run(times);
}

}  // namespace plateloom::stitch
