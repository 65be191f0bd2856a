// Compares views out of a panorama with the frames that the shot's camera recorded.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>
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
    int frames = 0, tried = 0, found = 0;
    double squares = 0, largest_px = 0, worst_p95_px = 0, worst_light = 0, worst_area_light = 0;
    double least_covered = 1;

    void add(const ViewErrors& e) {
        ++frames;
        tried += e.tried;
        found += int(e.patches.size());
        squares += e.rms_px * e.rms_px * double(e.patches.size());
        largest_px = std::max(largest_px, e.largest_px);
        worst_p95_px = std::max(worst_p95_px, e.p95_px);
        worst_light = std::max(worst_light, e.median_light);
        worst_area_light = std::max(worst_area_light, e.median_area_light);
        least_covered = std::min(least_covered, e.covered);
    }
    [[nodiscard]] double rms_px() const { return std::sqrt(squares / std::max(1, found)); }
};

void printFrame(const std::string& frame, const ViewErrors& e) {
    std::printf(
        "  %s  covered %5.1f %%  %3zu of %3d patches  rms %.4f  95th %.4f  largest %.4f px  "
        "mean %+.4f %+.4f  light %.2f %%, by areas %.3f %%\n",
        frame.c_str(), 100 * e.covered, e.patches.size(), e.tried, e.rms_px, e.p95_px, e.largest_px,
        e.mean_dx_px, e.mean_dy_px, 100 * e.median_light, 100 * e.median_area_light);
}

void compare(const std::vector<std::string>& recorded, const std::vector<std::string>& views,
             bool json, bool each) {
    std::map<std::string, std::filesystem::path> truth;
    for (const auto& path : io::expandPlates(recorded, std::nullopt)) truth[frameOf(path)] = path;
    Total total;
    for (const auto& path : io::expandPlates(views, std::nullopt)) {
        const auto real = truth.find(frameOf(path));
        if (real == truth.end())
            throw io::InputError(path.string(), "has no recorded frame of its number");
        const ViewErrors errors = compareView(readPicture(path), readPicture(real->second));
        if (each) printFrame(frameOf(path), errors);
        total.add(errors);
    }
    if (json) {
        std::cout << nlohmann::json{{"frames", total.frames},
                                    {"patches_tried", total.tried},
                                    {"patches_found", total.found},
                                    {"rms_px", total.rms_px()},
                                    {"worst_p95_px", total.worst_p95_px},
                                    {"largest_px", total.largest_px},
                                    {"worst_median_light", total.worst_light},
                                    {"worst_median_area_light", total.worst_area_light},
                                    {"least_covered", total.least_covered}}
                         .dump(1)
                  << '\n';
        return;
    }
    std::printf("views                %d, covered %.2f %% or more; %d of %d patches found\n",
                total.frames, 100 * total.least_covered, total.found, total.tried);
    std::printf("geometric error      rms %.4f, 95th of the worst view %.4f, largest %.4f px\n",
                total.rms_px(), total.worst_p95_px, total.largest_px);
    std::printf("light error          median of the worst view %.2f %% a pixel, %.3f %% an area\n",
                100 * total.worst_light, 100 * total.worst_area_light);
}

}  // namespace

int main(int argc, char** argv) {
    std::vector<std::string> recorded, views;
    bool json = false, each = false;
    CLI::App app("Compares views with the recorded frames of the same numbers.");
    app.add_option("VIEWS", views, "Views: files or folders")->required();
    app.add_option("--recorded", recorded, "Recorded frames: files or folders")->required();
    app.add_flag("--each", each, "A line a view");
    app.add_flag("--json", json, "Print one JSON object");
    CLI11_PARSE(app, argc, argv);
    try {
        compare(recorded, views, json, each);
    } catch (const std::exception& error) {
        std::cerr << "compare_view: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
