// Solved against true orientations.
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <sstream>

#include "io/input_error.h"
#include "world/truth.h"

namespace plateloom::world {

std::vector<TruePlate> truePlates(const Shoot& shoot) {
    std::vector<TruePlate> plates;
    for (const PlannedPlate& plate : shoot.plates)
        plates.push_back({plate.file, plate.pose,
                          calib::LensMap(plate.lens, shoot.sensor).focal_px(), plate.exposure});
    return plates;
}

std::vector<TruePlate> readTruePlates(const std::filesystem::path& path) {
    std::ifstream in(path);
    std::string line;
    if (!in || !std::getline(in, line))
        throw io::InputError(path.string(), "is missing or empty; render the shoot again");
    std::vector<TruePlate> plates;
    while (std::getline(in, line)) {
        std::replace(line.begin(), line.end(), ',', ' ');
        std::istringstream fields(line);
        TruePlate p;
        fields >> p.file >> p.pose.pan_deg >> p.pose.tilt_deg >> p.pose.roll_deg >> p.focal_px >>
            p.exposure;
        if (!fields) throw io::InputError(path.string(), "does not hold true poses: " + line);
        plates.push_back(p);
    }
    return plates;
}

void writeScene(const std::filesystem::path& path, const SceneSettings& settings) {
    const Rgb& even = settings.constant;
    nlohmann::json json{{"seed", settings.seed},
                        {"light", int(settings.light)},
                        {"texture", settings.texture},
                        {"constant", {even[0], even[1], even[2]}}};
    if (const auto& runner = settings.runner)
        json["runner"] = {{"from_m", {runner->from_m.x(), runner->from_m.y()}},
                          {"speed_mps", {runner->speed_mps.x(), runner->speed_mps.y()}}};
    if (const auto& flicker = settings.flicker)
        json["flicker"] = {{"lamp", flicker->lamp}, {"depth", flicker->depth}, {"hz", flicker->hz}};
    std::ofstream out(path);
    out << json << '\n';
    if (!out) throw io::RoomError(path.string(), "can't be written");
}

SceneSettings readScene(const std::filesystem::path& path) {
    std::ifstream in(path);
    const auto json = nlohmann::json::parse(in, nullptr, false);
    if (!in || !json.contains("seed") || !json.contains("light"))
        throw io::InputError(path.string(), "does not say which scene; render the shoot again");
    SceneSettings settings;
    settings.seed = json["seed"];
    settings.light = Light(int(json["light"]));
    settings.texture = json.value("texture", 1.0f);
    if (const auto even = json.find("constant"); even != json.end())
        settings.constant = Rgb(even->at(0), even->at(1), even->at(2));
    if (const auto runner = json.find("runner"); runner != json.end()) {
        const auto &from = runner->at("from_m"), &speed = runner->at("speed_mps");
        settings.runner =
            Runner{Vector2d(from.at(0), from.at(1)), Vector2d(speed.at(0), speed.at(1))};
    }
    if (const auto flicker = json.find("flicker"); flicker != json.end())
        settings.flicker = Flicker{flicker->at("lamp"), flicker->at("depth"), flicker->at("hz")};
    return settings;
}

namespace {

double meanGain(const io::SolvedPlate& plate) {
    return std::cbrt(plate.gain[0] * plate.gain[1] * plate.gain[2]);
}

}  // namespace

SolveErrors compareSolve(const std::vector<io::SolvedPlate>& solve,
                         const std::vector<TruePlate>& truth) {
    SolveErrors errors;
    errors.plates = int(truth.size());
    std::map<std::string, const io::SolvedPlate*> solved;
    for (const auto& plate : solve)
        if (plate.placed) solved[plate.file] = &plate;

    std::vector<calib::Matrix3d> from, to, from_ties, to_ties;
    std::vector<std::pair<const io::SolvedPlate*, const TruePlate*>> pairs;
    for (const TruePlate& plate : truth) {
        const auto found = solved.find(plate.file);
        if (found == solved.end()) {
            errors.missing.push_back(plate.file);
            continue;
        }
        pairs.emplace_back(found->second, &plate);
        from.push_back(calib::worldFromCamera(found->second->pose));
        to.push_back(calib::worldFromCamera(plate.pose));
        if (found->second->placed_by == "pose") continue;
        from_ties.push_back(from.back());
        to_ties.push_back(to.back());
    }
    errors.placed = int(pairs.size());
    errors.by_ties = int(from_ties.size());
    if (pairs.empty()) return errors;
    errors.truthFromSolve = from_ties.empty() ? calib::alignOrientations(from, to)
                                              : calib::alignOrientations(from_ties, to_ties);

    double mean_stops = 0, squares = 0, stop_squares = 0;
    for (const auto& [plate, real] : pairs) {
        PlateError e;
        e.file = real->file;
        e.placed_by = plate->placed_by;
        e.rotation_px =
            real->focal_px * std::numbers::pi / 180.0 *
            calib::angleBetween_deg(errors.truthFromSolve * calib::worldFromCamera(plate->pose),
                                    calib::worldFromCamera(real->pose));
        e.focal_ratio = calib::LensMap(plate->lens, plate->sensor).focal_px() / real->focal_px;
        e.exposure_stops = std::log2(meanGain(*plate) * real->exposure);
        mean_stops += e.exposure_stops / double(pairs.size());
        if (e.placed_by == "pose") {
            errors.largest_by_pose_px = std::max(errors.largest_by_pose_px, e.rotation_px);
        } else {
            squares += e.rotation_px * e.rotation_px;
            errors.largest_px = std::max(errors.largest_px, e.rotation_px);
        }
        errors.each.push_back(e);
    }
    for (PlateError& e : errors.each) {
        e.exposure_stops -= mean_stops;
        stop_squares += e.exposure_stops * e.exposure_stops;
    }
    errors.rms_px = std::sqrt(squares / std::max(1, errors.by_ties));
    errors.rms_exposure_stops = std::sqrt(stop_squares / double(pairs.size()));
    return errors;
}

}  // namespace plateloom::world
