// Compares finished composites with the frames that the shot's camera would have recorded on
// location.
#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <iostream>
#include <nlohmann/json.hpp>

#include "world/composite_truth.h"
#include "world/numbered_pictures.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Arguments {
    std::vector<std::string> finished;
    std::string location, keyed, empty;
    bool json = false, each = false;
};

struct Totals {
    size_t frames = 0;
    std::vector<PatchShift> patches;
    int width = 0, height = 0;
    double zone_of_one_px = 0, light = 0, area_light = 0, least_covered = 1;
    double edge = 0, edge_of_over = 0, performer = 0;  // the worst frame's signed mean

    void add(const CompositeErrors& e, const io::Picture& frame) {
        ++frames;
        width = frame.width, height = frame.height;
        patches.insert(patches.end(), e.whole.patches.begin(), e.whole.patches.end());
        zone_of_one_px =
            std::max(zone_of_one_px, largestZone_px(zonesOf(e.whole.patches, width, height)));
        light = std::max(light, e.whole.median_light);
        area_light = std::max(area_light, e.whole.median_area_light);
        least_covered = std::min(least_covered, e.whole.covered);
        keepWorst(edge, e.edge.mean);
        keepWorst(edge_of_over, e.edge_of_over.mean);
        keepWorst(performer, e.performer.mean);
    }
    [[nodiscard]] double zone_px() const { return largestZone_px(zonesOf(patches, width, height)); }

private:
    static void keepWorst(double& worst, double value) {
        if (std::abs(value) > std::abs(worst)) worst = value;
    }
};

void printFrame(const std::string& number, const CompositeErrors& e, const io::Picture& frame) {
    std::printf(
        "  %s  zones %.4f px  light %.3f %% an area  factor %.4f %.4f %.4f  edge %+.3f %% (over "
        "alone %+.3f %%) of %zu pixels, single ones %.2f %% (%.2f %%)  performer %+.3f %%\n",
        number.c_str(), largestZone_px(zonesOf(e.whole.patches, frame.width, frame.height)),
        100 * e.whole.median_area_light, double(e.whole.factor[0]), double(e.whole.factor[1]),
        double(e.whole.factor[2]), 100 * e.edge.mean, 100 * e.edge_of_over.mean, e.edge.pixels,
        100 * e.edge.median, 100 * e.edge_of_over.median, 100 * e.performer.mean);
}

void print(const Totals& t) {
    std::printf("finished frames      %zu, covered %.2f %% or more\n", t.frames,
                100 * t.least_covered);
    std::printf("geometric error      by zones %.4f px at most, of a single frame %.4f\n",
                t.zone_px(), t.zone_of_one_px);
    std::printf("light error          median of the worst frame %.2f %% a pixel, %.3f %% an area\n",
                100 * t.light, 100 * t.area_light);
    std::printf(
        "matte's edge         mean error of the worst frame %+.2f %%; over alone %+.2f %%\n",
        100 * t.edge, 100 * t.edge_of_over);
    std::printf("performer            mean error of the worst frame %+.3f %%\n", 100 * t.performer);
}

void printJson(const Totals& t) {
    std::cout << nlohmann::json{{"frames", t.frames},
                                {"least_covered", t.least_covered},
                                {"largest_zone_px", t.zone_px()},
                                {"largest_zone_of_one_frame_px", t.zone_of_one_px},
                                {"worst_median_light", t.light},
                                {"worst_median_area_light", t.area_light},
                                {"worst_edge_mean", t.edge},
                                {"worst_edge_mean_of_over", t.edge_of_over},
                                {"worst_performer_mean", t.performer}}
                     .dump(1)
              << '\n';
}

void compare(const Arguments& a) {
    const auto location = framesByNumber({a.location}), keyed = framesByNumber({a.keyed}),
               empty = framesByNumber({a.empty});
    Totals totals;
    const auto finished = framesByNumber(a.finished);
    for (const auto& frame : finished) {
        const io::Picture truth = readNumberedPicture(location, frame.first);
        const CompositeErrors errors = compareComposite(
            readNumberedPicture(finished, frame.first), truth,
            readNumberedPicture(keyed, frame.first), readNumberedPicture(empty, frame.first));
        if (a.each) printFrame(frame.first, errors, truth);
        totals.add(errors, truth);
    }
    if (a.json)
        printJson(totals);
    else
        print(totals);
}

}  // namespace

int main(int argc, char** argv) {
    Arguments a;
    CLI::App app("Compares finished composites with the frames recorded on location.");
    app.add_option("FINISHED", a.finished, "Finished frames: files or folders")->required();
    app.add_option("--location", a.location, "Frames recorded on location")->required();
    app.add_option("--keyed", a.keyed, "Keyed frames of the performer, as recorded")->required();
    app.add_option("--empty", a.empty, "Frames recorded on location without the performer")
        ->required();
    app.add_flag("--each", a.each, "Print a line for each frame");
    app.add_flag("--json", a.json, "Print one JSON object");
    CLI11_PARSE(app, argc, argv);
    try {
        compare(a);
    } catch (const std::exception& error) {
        std::cerr << "compare_composite: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
