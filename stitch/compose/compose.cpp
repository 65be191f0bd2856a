#include "stitch/compose/compose.h"

#include <tbb/parallel_pipeline.h>
#include <tbb/task_arena.h>

#include <atomic>
#include <chrono>
#include <cmath>

#include "stitch/compose/compose_tile.h"
#include "stitch/compose/panorama_census.h"

namespace plateloom::stitch {

namespace {

using Clock = std::chrono::steady_clock;

double secondsSince(Clock::time_point start) {
    return std::chrono::duration<double>(Clock::now() - start).count();
}

// Tiles from top to bottom, column after column: neighbours in pan show the same plates, so a
// bounded store reads each plate about once.
std::vector<TileRect> tilesOf(const PanoramaGrid& grid, int tile) {
    std::vector<TileRect> tiles;
    for (int x = 0; x < grid.width; x += tile)
        for (int y = 0; y < grid.height; y += tile)
            tiles.push_back(
                {x, y, std::min(tile, grid.width - x), std::min(tile, grid.height - y)});
    return tiles;
}

// Composes on all threads, hands over in order; no more tiles are alive than threads and two.
Composed composeTiles(const TileComposer& composer, const ComposeSettings& settings,
                      const TileSink& sink, const Progress& progress) {
    const auto started = Clock::now();
    const auto tiles = tilesOf(settings.grid, settings.tile);
    PanoramaCensus census(settings.grid, settings.preview_width);
    std::vector<io::Picture> pictures(tiles.size());  // empty but for those on their way
    std::atomic<double> composing_s = 0;
    double writing_s = 0;
    size_t next = 0;
    const auto take = [&](tbb::flow_control& flow) {
        if (next == tiles.size()) flow.stop();
        return next == tiles.size() ? next : next++;
    };
    const auto work = [&](size_t i) {
        const auto start = Clock::now();
        pictures[i] = composer.compose(tiles[i]);
        composing_s.fetch_add(secondsSince(start));
        return i;
    };
    const auto hand_over = [&](size_t i) {
        const auto start = Clock::now();
        const io::Picture picture = std::move(pictures[i]);
        pictures[i] = {};
        census.add(tiles[i].x, tiles[i].y, picture);
        sink(tiles[i].x, tiles[i].y, picture);
        writing_s += secondsSince(start);
        progress("compose", double(i + 1) / double(tiles.size()));
    };
    const auto concurrency = size_t(tbb::this_task_arena::max_concurrency());
    tbb::parallel_pipeline(
        concurrency + 2,
        tbb::make_filter<void, size_t>(tbb::filter_mode::serial_in_order, take) &
            tbb::make_filter<size_t, size_t>(tbb::filter_mode::parallel, work) &
            tbb::make_filter<size_t, void>(tbb::filter_mode::serial_in_order, hand_over));

    Composed composed;
    composed.covered_share = census.coveredShare();
    composed.preview = census.preview();
    // Composing and writing overlap: the time on the clock is shared out by the work in each.
    const double seconds = secondsSince(started), busy = composing_s + writing_s;
    const double pixels = double(settings.grid.width) * settings.grid.height;
    const double share = busy > 0 ? composing_s / busy : 1;
    composed.times = {{"compose", seconds * share, pixels},
                      {"write", seconds * (1 - share), pixels}};
    return composed;
}

}  // namespace

Composed compose(const std::vector<PlacedPlate>& plates, PlateStore& store,
                 const ComposeSettings& settings, const TileSink& sink, const Progress& progress) {
    tbb::task_arena arena(settings.threads > 0 ? settings.threads : tbb::task_arena::automatic);
    Composed composed;
    arena.execute([&] {
        const auto started = Clock::now();
        progress("seams", 0);
        Overview overview = makeOverview(plates, store, settings.grid,
                                         settings.seams ? OverviewUse::light : OverviewUse::seams,
                                         settings.overview_across);
        LabelBlend labels =
            settings.seams ? settings.seams(overview) : LabelBlend{findSeams(overview), {}, 0};
        std::vector<GainField> gains = blendBands(overview, labels);
        double plate_pixels = 0;
        for (const auto& plate : plates)
            plate_pixels += double(plate.lens.sensor().width_px) * plate.lens.sensor().height_px;
        overview = {};
        const StageTime seams{"seams", secondsSince(started), plate_pixels};
        progress("seams", 1);

        const TileComposer composer(plates, store, settings.grid, std::move(labels),
                                    std::move(gains));
        composed = composeTiles(composer, settings, sink, progress);
        composed.times.insert(composed.times.begin(), seams);
    });
    return composed;
}

Composed compose(const std::vector<PlacedPlate>& plates, PlateStore& store,
                 const ComposeSettings& settings, io::PanoramaWriter& writer,
                 const Progress& progress) {
    return compose(
        plates, store, settings,
        [&](int x, int y, const io::Picture& tile) { writer.write(x, y, tile); }, progress);
}

int nativeWidth(const std::vector<PlacedPlate>& plates) {
    constexpr double kStep_rad = 1e-4;
    double most = 0;
    for (const auto& plate : plates) {
        const auto at = [&](double right, double up) {
            return plate.lens.recordedFromRay(calib::Vector3d(right, 1, up).normalized());
        };
        const auto left = at(-kStep_rad, 0), right = at(kStep_rad, 0);
        const auto down = at(0, -kStep_rad), up = at(0, kStep_rad);
        if (left && right) most = std::max(most, (*right - *left).norm() / (2 * kStep_rad));
        if (down && up) most = std::max(most, (*up - *down).norm() / (2 * kStep_rad));
    }
    // Less a hair, so that rounding in the lens's own numbers doesn't cost another 16 pixels.
    const double width = 2 * 3.14159265358979323846 * most * (1 - 1e-7);
    return 16 * int(std::ceil(width / 16));
}

}  // namespace plateloom::stitch
