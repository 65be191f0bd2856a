// Compares views out of a panorama with the frames that the shot's camera recorded.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>
#include <nlohmann/json.hpp>

#include "world/numbered_pictures.h"
#include "world/view_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Total {
    int frames = 0, places = 0, width = 0, height = 0;
    double squares = 0, worst_zone_px = 0, worst_light = 0, worst_area_light = 0;
    double least_covered = 1;
    std::vector<PatchShift> patches;  // of all frames

    void add(const ViewErrors& e, const io::Picture& frame) {
        ++frames;
        places += e.places;
        width = frame.width, height = frame.height;
        squares += e.rms_px * e.rms_px * double(e.patches.size());
        patches.insert(patches.end(), e.patches.begin(), e.patches.end());
        worst_zone_px = std::max(worst_zone_px, largestZone_px(zonesOf(e.patches, width, height)));
        worst_light = std::max(worst_light, e.median_light);
        worst_area_light = std::max(worst_area_light, e.median_area_light);
        least_covered = std::min(least_covered, e.covered);
    }
    [[nodiscard]] double patch_rms_px() const {
        return std::sqrt(squares / std::max<double>(1, double(patches.size())));
    }
    [[nodiscard]] double zone_px() const { return largestZone_px(zonesOf(patches, width, height)); }
};

void printFrame(const std::string& frame, const ViewErrors& e, const io::Picture& picture) {
    std::printf(
        "  %s  covered %5.1f %%  %3zu of %3d patches  rms %.4f  largest zone %.4f px  light "
        "%.2f %%, by areas %.3f %%\n",
        frame.c_str(), 100 * e.covered, e.patches.size(), e.places, e.rms_px,
        largestZone_px(zonesOf(e.patches, picture.width, picture.height)), 100 * e.median_light,
        100 * e.median_area_light);
}

void compare(const std::vector<std::string>& recorded, const std::vector<std::string>& views,
             bool json, bool each, const ViewComparison& how) {
    const auto truth = framesByNumber(recorded), made = framesByNumber(views);
    Total total;
    for (const auto& view : made) {
        const io::Picture frame = readNumberedPicture(truth, view.first);
        const ViewErrors errors = compareView(readNumberedPicture(made, view.first), frame, how);
        if (each) printFrame(view.first, errors, frame);
        total.add(errors, frame);
    }
    if (json) {
        std::cout << nlohmann::json{{"frames", total.frames},
                                    {"places", total.places},
                                    {"patches_found", total.patches.size()},
                                    {"patch_rms_px", total.patch_rms_px()},
                                    {"largest_zone_px", total.zone_px()},
                                    {"largest_zone_of_one_view_px", total.worst_zone_px},
                                    {"worst_median_light", total.worst_light},
                                    {"worst_median_area_light", total.worst_area_light},
                                    {"least_covered", total.least_covered}}
                         .dump(1)
                  << '\n';
        return;
    }
    std::printf("views                %d, covered %.2f %% or more; %zu of %d patches told\n",
                total.frames, 100 * total.least_covered, total.patches.size(), total.places);
    std::printf(
        "geometric error      by zones of the frame %.4f px at most, of a single view %.4f; "
        "single patches scatter by %.4f\n",
        total.zone_px(), total.worst_zone_px, total.patch_rms_px());
    std::printf("light error          median of the worst view %.2f %% a pixel, %.3f %% an area\n",
                100 * total.worst_light, 100 * total.worst_area_light);
}

}  // namespace

int main(int argc, char** argv) {
    std::vector<std::string> recorded, views;
    bool json = false, each = false;
    ViewComparison how;
    CLI::App app("Compares views with the recorded frames of the same numbers.");
    app.add_option("VIEWS", views, "Views: files or folders")->required();
    app.add_option("--recorded", recorded, "Recorded frames: files or folders")->required();
    app.add_option("--surer-than", how.worst_sigma_px,
                   "Leave out patches whose place is known less surely, pixels")
        ->capture_default_str();
    app.add_flag("--each", each, "A line a view");
    app.add_flag("--json", json, "Print one JSON object");
    CLI11_PARSE(app, argc, argv);
    try {
        compare(recorded, views, json, each, how);
    } catch (const std::exception& error) {
        std::cerr << "compare_view: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
