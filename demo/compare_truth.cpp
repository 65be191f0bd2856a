// Compares a solve and a panorama with the truth of a rendered shoot.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>
#include <nlohmann/json.hpp>

#include "world/lens_truth.h"
#include "world/recording.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

nlohmann::json asJson(const SolveErrors& e) {
    nlohmann::json each = nlohmann::json::array();
    for (const PlateError& plate : e.each)
        each.push_back({{"file", plate.file},
                        {"placed_by", plate.placed_by},
                        {"rotation_px", plate.rotation_px},
                        {"focal_ratio", plate.focal_ratio},
                        {"exposure_stops", plate.exposure_stops}});
    return {{"plates", e.plates},
            {"placed", e.placed},
            {"by_ties", e.by_ties},
            {"missing", e.missing},
            {"rotation_rms_px", e.rms_px},
            {"rotation_max_px", e.largest_px},
            {"by_pose_max_px", e.largest_by_pose_px},
            {"exposure_rms_stops", e.rms_exposure_stops},
            {"each", each}};
}

nlohmann::json asJson(const PictureErrors& e) {
    nlohmann::json each = nlohmann::json::array();
    for (const PictureError& plate : e.each)
        each.push_back({{"file", plate.file},
                        {"rms_px", plate.rms_px},
                        {"largest_px", plate.largest_px},
                        {"turn_px", plate.turn_px},
                        {"size_ratio", plate.size_ratio},
                        {"left_rms_px", plate.left_rms_px},
                        {"left_corner_px", plate.left_corner_px},
                        {"diagonal_px", plate.diagonal_px}});
    return {{"rms_px", e.rms_px},
            {"largest_px", e.largest_px},
            {"turn_rms_px", e.turn_rms_px},
            {"left_rms_px", e.left_rms_px},
            {"left_corner_px", e.left_corner_px},
            {"diagonal_px", e.diagonal_px},
            {"each", each}};
}

nlohmann::json asJson(const PanoramaErrors& e) {
    nlohmann::json lamps = nlohmann::json::array();
    for (const LampError& lamp : e.lamps)
        lamps.push_back({{"energy", lamp.energy_ratio},
                         {"peak", lamp.peak_ratio},
                         {"radius_px", lamp.radius_px}});
    return {{"covered", e.covered}, {"factor", {e.factor[0], e.factor[1], e.factor[2]}},
            {"median", e.median},   {"p90", e.p90},
            {"p99", e.p99},         {"largest", e.largest},
            {"far_off", e.far_off}, {"worst_lamp", e.worst_lamp},
            {"lamps", lamps}};
}

void print(const SolveErrors& e) {
    std::printf("plates placed        %d of %d (%d by ties)\n", e.placed, e.plates, e.by_ties);
    for (const std::string& file : e.missing)
        std::printf("  not placed         %s\n", file.c_str());
    std::printf("rotation error       rms %.4f, largest %.4f plate pixels (placed by ties)\n",
                e.rms_px, e.largest_px);
    if (e.placed > e.by_ties)
        std::printf("placed by pose       largest %.2f plate pixels\n", e.largest_by_pose_px);
    std::printf("exposure error       rms %.4f stops\n", e.rms_exposure_stops);
}

void printEach(const SolveErrors& e) {
    for (const PlateError& plate : e.each)
        std::printf("  %-20s %-5s %9.4f px  focal x %.6f  %+.4f stops\n", plate.file.c_str(),
                    plate.placed_by.c_str(), plate.rotation_px, plate.focal_ratio,
                    plate.exposure_stops);
}

void print(const PictureErrors& e) {
    std::printf(
        "picture error        rms %.4f, largest %.4f plate pixels (where each pixel looks)\n",
        e.rms_px, e.largest_px);
    std::printf(
        "lens error           turns the picture by rms %.4f; turned and sized, rms %.4f is "
        "left, %.4f in the worst corner; corner to corner %.4f\n",
        e.turn_rms_px, e.left_rms_px, e.left_corner_px, e.diagonal_px);
}

void printEach(const PictureErrors& e) {
    for (const PictureError& plate : e.each)
        std::printf("  %-20s picture %.4f px, lens: turn %.4f px, size x %.6f, left %.4f px\n",
                    plate.file.c_str(), plate.rms_px, plate.turn_px, plate.size_ratio,
                    plate.left_rms_px);
}

void print(const PanoramaErrors& e) {
    std::printf("covered              %.2f %% of the sphere\n", 100 * e.covered);
    std::printf("exposure factor      %.4f from the panorama to the square's own light\n",
                double(e.factor.mean()));
    std::printf("relative error       median %.3f %%, 90th %.3f %%, 99th %.3f %%, largest %.3g\n",
                100 * e.median, 100 * e.p90, 100 * e.p99, e.largest);
    std::printf("log error            rms %.4f stops; of what is within a stop %.4f\n",
                e.log_rms_stops, e.log_rms_near_stops);
    std::printf("more than half off   %.3f %%\n", 100 * e.far_off);
    for (const LampError& lamp : e.lamps)
        if (std::abs(lamp.energy_ratio - 1) > 0.02)
            std::printf("  a lamp %.1f pixels wide: energy x %.4f, peak x %.4f\n",
                        2 * lamp.radius_px, lamp.energy_ratio, lamp.peak_ratio);
    std::printf("lamps                %zu, worst energy %.2f %% off\n", e.lamps.size(),
                100 * e.worst_lamp);
}

}  // namespace

int main(int argc, char** argv) {
    std::filesystem::path shoot, solve, panorama, difference;
    int width = 4096;
    bool json = false, each = false;
    CLI::App app("Compares a solve and a panorama with the truth of a rendered shoot.");
    app.add_option("SHOOT", shoot, "Folder that render_shoot wrote")->required();
    app.add_option("--solve", solve, "SOLVE.jsonl; without it the panorama counts as aligned");
    app.add_option("--panorama", panorama, "Equirectangular panorama");
    app.add_option("--width", width, "Compare at no more than this width");
    app.add_option("--difference", difference, "Write the relative error as an EXR");
    app.add_flag("--each", each, "A line a plate");
    app.add_flag("--json", json, "Print one JSON object");
    CLI11_PARSE(app, argc, argv);
    try {
        nlohmann::json summary;
        SolveErrors errors;
        if (!solve.empty()) {
            const auto plates = io::readSolve(solve);
            errors = compareSolve(plates, readTruePlates(shoot / "truth" / "poses.csv"));
            const PictureErrors pictures =
                comparePictures(plates, readTrueCameras(shoot / "truth" / "cameras.csv"));
            summary["solve"] = asJson(errors);
            summary["pictures"] = asJson(pictures);
            if (!json) print(errors), print(pictures);
            if (!json && each) printEach(errors), printEach(pictures);
        }
        if (!panorama.empty()) {
            const Scene scene(readScene(shoot / "truth" / "scene.json"));
            const io::Picture picture = readPanorama(panorama, width);
            const io::Picture truth = truePanorama(scene, picture.width, errors.truthFromSolve);
            const PanoramaErrors off =
                comparePanorama(picture, truth, scene, errors.truthFromSolve);
            if (!difference.empty())
                writePanoramaExr(difference, relativeErrors(picture, truth, off.factor));
            summary["panorama"] = asJson(off);
            if (!json) print(off);
        }
        if (json) std::cout << summary.dump(1) << '\n';
    } catch (const std::exception& error) {
        std::cerr << "compare_truth: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
