#include "stitch/calibrate/chart_page.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "calib/said.h"
#include "io/display_picture.h"
#include "io/input_error.h"
#include "io/jpeg.h"
#include "stitch/calibrate/page_numbers.h"
#include "stitch/flatten/flatten.h"
#include "stitch/plates/small_plates.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;
using nlohmann::json;

// Of the points of all pictures so many are drawn at most: they stand for the rest, and the page
// stays small.
constexpr size_t kMostResiduals = 3000;
constexpr int kPicture_px = 960, kPictureQuality = 84;
// Beyond so many settings their pictures shrink, so that the page stays within a few MB.
constexpr double kSettingsAtFullSize = 8;

size_t usedPoints(const ChartMeasurement& lens) {
    size_t count = 0;
    for (const auto& picture : lens.pictures)
        if (picture.used)
            for (const auto& point : picture.points) count += point.used;
    return count;
}

json pictureJson(const ChartPicture& picture) {
    json out{{"file", fileName(picture.file)},
             {"used", picture.used},
             {"why", picture.why_not},
             {"points", picture.points.size()},
             {"rms_px", nullptr},
             {"held_out_rms_px", nullptr},
             {"tilt_deg", nullptr},
             {"distance_m", nullptr},
             {"bend_recorded_px", nullptr},
             {"bend_flat_px", nullptr}};
    out["edge_px"] = picture.edge_px > 0 ? rounded(picture.edge_px, 3) : json(nullptr);
    if (!picture.used) return out;
    out["rms_px"] = rounded(picture.rms_px, 5);
    if (picture.held_out_rms_px > 0) out["held_out_rms_px"] = rounded(picture.held_out_rms_px, 5);
    out["tilt_deg"] = rounded(picture.tilt_deg, 3);
    out["distance_m"] = rounded(picture.distance_m, 4);
    out["bend_recorded_px"] = rounded(picture.recorded.worst_px, 4);
    out["bend_flat_px"] = rounded(picture.flat.worst_px, 4);
    return out;
}

// x, y, dx, dy and the picture of each point, evenly thinned.
json residualsJson(const ChartMeasurement& lens) {
    const size_t every = 1 + (usedPoints(lens) - 1) / kMostResiduals;
    json out = json::array();
    size_t seen = 0;
    for (size_t k = 0; k < lens.pictures.size(); ++k) {
        if (!lens.pictures[k].used) continue;
        for (const auto& point : lens.pictures[k].points) {
            if (!point.used || seen++ % every != 0) continue;
            out.push_back({rounded(point.recorded_px.x(), 1), rounded(point.recorded_px.y(), 1),
                           rounded(point.residual_px.x(), 3), rounded(point.residual_px.y(), 3),
                           k});
        }
    }
    return out;
}

// Points of used pictures that lie too far off to have taken part.
json straysJson(const ChartMeasurement& lens) {
    json out = json::array();
    for (size_t k = 0; k < lens.pictures.size(); ++k)
        for (const auto& point : lens.pictures[k].points)
            if (lens.pictures[k].used && !point.used)
                out.push_back(
                    {rounded(point.recorded_px.x(), 1), rounded(point.recorded_px.y(), 1), k});
    return out;
}

// Where straight lines of the scene, a regular grid over the frame, are recorded: how far each of
// their places is moved. Null where the lens puts nothing.
json gridJson(const calib::LensMap& map) {
    constexpr int kAcross = 48, kEvery = 3;
    const calib::Sensor& sensor = map.sensor();
    const double step_px = double(sensor.width_px) / kAcross;
    const int down =
        kEvery * std::max(2, int(std::lround(sensor.height_px / step_px / double(kEvery))));
    json x = json::array(), y = json::array();
    double largest_px = 0;
    for (int j = 0; j <= down; ++j)
        for (int i = 0; i <= kAcross; ++i) {
            const Vector2d flat_px(double(sensor.width_px) * i / kAcross,
                                   double(sensor.height_px) * j / down);
            const auto recorded = map.recordedFromFlat_mm(calib::mmFromPixel(sensor, flat_px));
            if (!recorded) {
                x.push_back(nullptr);
                y.push_back(nullptr);
                continue;
            }
            const Vector2d moved_px = calib::pixelFromMm(sensor, *recorded) - flat_px;
            largest_px = std::max(largest_px, moved_px.norm());
            x.push_back(rounded(moved_px.x(), 3));
            y.push_back(rounded(moved_px.y(), 3));
        }
    return {{"across", kAcross},        {"down", down},    {"every", kEvery},
            {"largest_px", largest_px}, {"moved_x_px", x}, {"moved_y_px", y}};
}

json curveJson(const ChartMeasurement& lens) {
    json out = json::array();
    for (const auto& at : lens.distortion)
        out.push_back({{"height_mm", rounded(at.recorded_mm, 6)},
                       {"flat_mm", rounded(at.flat_mm, 6)},
                       {"percent", rounded(100 * at.share(), 5)},
                       {"supported", at.supported}});
    return out;
}

// The used picture whose lines bend most; nullptr without one.
const ChartPicture* mostBent(const ChartMeasurement& lens) {
    const ChartPicture* out = nullptr;
    for (const auto& picture : lens.pictures)
        if (picture.used && (!out || picture.recorded.worst_px > out->recorded.worst_px))
            out = &picture;
    return out;
}

// The ends of the board's outer rows and columns, where they are recorded and where they come to
// lie: a straight line between two of them shows how much the row between bends.
json guidesJson(const ChartMeasurement& lens, const ChartPicture& picture,
                const calib::LensMap& map) {
    const auto place = [&](const Vector2d& px) {
        return json{rounded(px.x() / lens.sensor.width_px, 5),
                    rounded(px.y() / lens.sensor.height_px, 5)};
    };
    std::vector<std::vector<const ChartPoint*>> lines(size_t(lens.board.rows + lens.board.columns));
    for (const auto& point : picture.points) {
        lines[size_t(point.point / lens.board.columns)].push_back(&point);
        lines[size_t(lens.board.rows + point.point % lens.board.columns)].push_back(&point);
    }
    json out = json::array();
    const int rows = lens.board.rows, all = rows + lens.board.columns;
    for (const int i : {0, rows - 1, rows, all - 1}) {
        const auto& line = lines[size_t(i)];
        if (line.size() < 4) continue;
        json guide;
        for (const auto* end : {line.front(), line.back()}) {
            const auto flat =
                map.flatFromRecorded_mm(calib::mmFromPixel(lens.sensor, end->recorded_px));
            if (!flat) continue;
            guide["recorded"].push_back(place(end->recorded_px));
            guide["flat"].push_back(place(calib::pixelFromMm(lens.sensor, *flat)));
        }
        if (guide.is_object() && guide["flat"].size() == 2) out.push_back(guide);
    }
    return out;
}

std::string knownTo(const ChartMeasurement& lens) {
    return std::isfinite(lens.focal_sigma_mm)
               ? said("known to %.4f mm (one sigma)", lens.focal_sigma_mm)
               : std::string("but the pictures do not tell how well it is known");
}

std::vector<std::string> verdictOf(const ChartMeasurement& lens) {
    size_t used = 0;
    for (const auto& picture : lens.pictures) used += picture.used;
    std::vector<std::string> out{
        said("Focal length %.3f mm, %s.", lens.lens.focal_mm, knownTo(lens).c_str()),
        said("The chart's points lie within %.3f px RMS of where this lens puts them; in pictures "
             "that took no part, within %.3f px.",
             lens.rms_px, lens.held_out_rms_px),
        said("Solved for %s; more terms predict left-out pictures no better.",
             nameOf(lens.model).c_str()),
        said("Points reach %.0f %% of the way from the middle to the frame's corners, and lie in "
             "%d of its 4 corners.",
             100 * lens.support.share, lens.support.corners)};
    if (used < lens.pictures.size())
        out.push_back(said("%zu of %zu pictures left out, see below why.",
                           lens.pictures.size() - used, lens.pictures.size()));
    return out;
}

json settingJson(const ChartMeasurement& lens) {
    const calib::LensMap map(lens.lens, lens.sensor);
    const Vector2d centre_mm = lens.lens.distortion_offset_mm + lens.lens.projection_offset_mm;
    const auto inPixels = [&](const Vector2d& mm) {
        return json{mm.x() / lens.sensor.mmPerPixelX(), mm.y() / lens.sensor.mmPerPixelY()};
    };
    json out{
        {"name", headingOf(lens.setting)},
        {"verdict", verdictOf(lens)},
        {"focus_m", orNull(lens.setting.focus_m)},
        {"t_stop", orNull(lens.setting.t_stop)},
        {"nominal_focal_mm", orNull(lens.setting.focal_mm)},
        {"board", nameOf(lens.board_kind)},
        {"frame", frameJson(lens.sensor)},
        {"terms", nameOf(lens.model)},
        {"direction", lens.lens.distortion.direction == calib::DistortionDirection::recorded_to_flat
                          ? "D-U"
                          : "U-D"},
        {"radial", lens.lens.distortion.radial},
        {"tangential", lens.lens.distortion.tangential}};
    out["focal_mm"] = lens.lens.focal_mm;
    out["focal_sigma_mm"] = lens.focal_sigma_mm;
    out["centre_px"] = inPixels(centre_mm);
    out["centre_sigma_px"] = inPixels(lens.centre_sigma_mm);
    out["axis_px"] = inPixels(lens.lens.projection_offset_mm);
    out["axis_sigma_px"] = inPixels(lens.axis_sigma_mm);
    out["rms_px"] = lens.rms_px;
    out["held_out_rms_px"] = lens.held_out_rms_px;
    out["noise_px"] = lens.noise_px;
    out["bend_recorded_px"] = lens.recorded.worst_px;
    out["bend_flat_px"] = lens.flat.worst_px;
    out["points"] = usedPoints(lens);
    out["support"] = {{"reach_mm", lens.support.reach_mm},
                      {"share", lens.support.share},
                      {"corners", lens.support.corners},
                      {"ring_share", lens.support.ring_share},
                      {"cells", lens.support.points}};
    out["distortion"] = curveJson(lens);
    out["grid"] = gridJson(map);
    out["residuals"] = residualsJson(lens);
    out["strays"] = straysJson(lens);
    out["pictures"] = json::array();
    for (const auto& picture : lens.pictures) out["pictures"].push_back(pictureJson(picture));
    out["shown"] = nullptr;
    if (const auto* shown = mostBent(lens))
        out["shown"] = {{"picture", shown - lens.pictures.data()},
                        {"guides", guidesJson(lens, *shown, map)}};
    out["tried"] = json::array();
    for (const auto& one : lens.tried)
        if (std::isfinite(one.held_out.rms_px))
            out["tried"].push_back({{"model", nameOf(one.model)},
                                    {"free_numbers", one.model.freeNumbers()},
                                    {"held_out_rms_px", one.held_out.rms_px},
                                    {"chosen", one.model == lens.model}});
    out["notes"] = lens.notes;
    out["warnings"] = lens.warnings;
    return out;
}

std::string verdictOf(const ChartJob& job) {
    if (job.lenses.size() == 1) {
        const auto& lens = job.lenses.front();
        return said(
            "Focal length %.3f mm, %s; the chart's points lie within %.3f px RMS of where the lens "
            "puts them.",
            lens.lens.focal_mm, knownTo(lens).c_str(), lens.rms_px);
    }
    double shortest = INFINITY, longest = 0, rms = 0;
    for (const auto& lens : job.lenses) {
        shortest = std::min(shortest, lens.lens.focal_mm);
        longest = std::max(longest, lens.lens.focal_mm);
        rms = std::max(rms, lens.rms_px);
    }
    return said(
        "The lens at %zu settings: focal length %.2f to %.2f mm; the chart's points lie "
        "within %.3f px RMS of where the lens puts them, at every one.",
        job.lenses.size(), shortest, longest, rms);
}

io::BeforeAndAfter beforeAndAfter(const ChartMeasurement& lens, const ChartPicture& picture,
                                  const std::string& colour_space, int longest_px) {
    const auto pixels =
        shrunk(io::readPlatePixels(io::readPlateHeader(picture.file, colour_space)), longest_px);
    calib::Sensor sensor = lens.sensor;
    sensor.width_px = pixels.width;
    sensor.height_px = pixels.height;
    bool clamped = false;
    const auto flat =
        flattenPlate(pixels, calib::LensMap(lens.lens, sensor), Fit::inside, &clamped);
    io::Picture recorded(pixels.width, pixels.height, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, recorded.at(x, y));
    const float exposure = io::displayExposure({&recorded});
    return {io::jpegOf(io::displayPicture(recorded, exposure), kPictureQuality),
            io::jpegOf(io::displayPicture(flat.picture, exposure), kPictureQuality)};
}

}  // namespace

json chartPageJson(const ChartJob& job) {
    json out{{"kind", "chart"},           {"command", "calibrate chart"},
             {"verdict", verdictOf(job)}, {"settings", json::array()},
             {"notes", job.notes},        {"warnings", job.warnings}};
    for (const auto& lens : job.lenses) out["settings"].push_back(settingJson(lens));
    return out;
}

std::vector<io::BeforeAndAfter> chartPictures(const ChartJob& job,
                                              const std::string& colour_space) {
    const double share = std::min(
        1.0, std::sqrt(kSettingsAtFullSize / double(std::max<size_t>(1, job.lenses.size()))));
    std::vector<io::BeforeAndAfter> out;
    for (const auto& lens : job.lenses) {
        out.emplace_back();
        const auto* picture = mostBent(lens);
        if (picture) try {
                out.back() = beforeAndAfter(lens, *picture, colour_space, int(kPicture_px * share));
            } catch (const io::InputError&) {
            }
    }
    return out;
}

void writeChartPage(const std::filesystem::path& folder, const ChartJob& job,
                    const std::string& colour_space) {
    io::writeLensPage(folder, chartPageJson(job), chartPictures(job, colour_space));
}

}  // namespace plateloom::stitch
