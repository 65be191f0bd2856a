// Compares views out of a panorama with the frames that the shot's camera recorded.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "io/plate_file.h"
#include "world/view_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

io::Picture readPicture(const std::filesystem::path& path) {
    const io::PlatePixels pixels = io::readPlatePixels(io::readPlateHeader(path));
    io::Picture out(pixels.width, pixels.height, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, out.at(x, y));
    return out;
}

// The number before the extension: hero.1001.exr and bg.1001.exr are the same frame.
std::string frameOf(const std::filesystem::path& path) {
    const std::string stem = path.stem().string();
    return stem.substr(stem.find_last_not_of("0123456789") + 1);
}

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
    std::map<std::string, std::filesystem::path> truth;
    for (const auto& path : io::expandPlates(recorded, std::nullopt)) truth[frameOf(path)] = path;
    Total total;
    for (const auto& path : io::expandPlates(views, std::nullopt)) {
        const auto real = truth.find(frameOf(path));
        if (real == truth.end())
            throw io::InputError(path.string(), "has no recorded frame of its number");
        const io::Picture frame = readPicture(real->second);
        const ViewErrors errors = compareView(readPicture(path), frame, how);
        if (each) printFrame(frameOf(path), errors, frame);
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
