#include "io/solve_file.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "io/input_error.h"
#include "io/json_samples.h"
#include "io/lens_track_json.h"
#include "io/sample_json.h"
#include "io/shown_text.h"
#include "io/table.h"

namespace plateloom::io {

namespace {

using Json = nlohmann::ordered_json;

Json ownJson(const SolvedPlate& plate) {
    Json out{{"file", validUtf8(plate.file)}, {"placed", plate.placed}};
    if (!plate.placed && !plate.why_not.empty()) out["why"] = plate.why_not;
    if (plate.placed && !plate.placed_by.empty()) out["placed_by"] = plate.placed_by;
    out["gain"] = plate.gain;
    if (plate.gain_sigma_stops && std::isfinite(*plate.gain_sigma_stops))
        out["gain_sigma_stops"] = *plate.gain_sigma_stops;
    out["ties"] = plate.ties;
    // JSON has no word for infinity or NaN: what is not known is left out.
    if (std::isfinite(plate.rms_px)) out["rms_px"] = plate.rms_px;
    if (std::isfinite(plate.sigma_px)) out["sigma_px"] = plate.sigma_px;
    if (plate.clip) out["clip"] = clipJson(*plate.clip);
    return out;
}

// A label that the standard's fields can carry, with its rate.
std::optional<Timecode> writable(const SolvedPlate& plate) {
    if (!plate.timecode_word) return std::nullopt;
    const Timecode t = timecodeFromSmpteWord(*plate.timecode_word, plate.frame_rate);
    constexpr FrameRate kFastest{120, 1};
    if (!exists(t, plate.frame_rate.value_or(kFastest))) return std::nullopt;
    return t;
}

Json sampleJson(const SolvedPlate& plate) {
    Json out;
    out["custom"]["plateloom"] = ownJson(plate);
    if (plate.placed)
        out["transforms"] = Json::array({{{"translation", {{"x", 0.0}, {"y", 0.0}, {"z", 0.0}}},
                                          {"rotation",
                                           {{"pan", plate.pose.pan_deg},
                                            {"tilt", plate.pose.tilt_deg},
                                            {"roll", plate.pose.roll_deg}}},
                                          {"id", "Camera"}}});
    out["lens"] = lensJson(plate.lens);
    const calib::Sensor& sensor = plate.sensor;
    if (sensor.width_mm > 0) out["static"]["camera"] = sensorJson(sensor);
    if (const auto t = writable(plate)) {
        if (plate.frame_rate) {
            out["timing"]["mode"] = "external";
            out["timing"]["sampleRate"] = rateJson(*plate.frame_rate);
            out["timing"]["timecode"] = timecodeJson(*t, *plate.frame_rate);
        } else {
            // OpenTrackIO's timecode needs a rate, which nobody told.
            out["custom"]["plateloom"]["timecode"] = toString(*t);
        }
    }
    out["protocol"] = {{"name", "OpenTrackIO"}, {"version", {1, 0, 0}}};
    return out;
}

// Twenty stops: no two plates of one place are exposed so differently.
constexpr double kMostGain = 1e6;

std::array<double, 3> readGain(const JsonFields& own) {
    if (!own.has("gain")) return {1, 1, 1};
    const std::vector<double> values = own.numbers("gain", 3);
    if (values.size() != 3) own.fault("gain", "needs three numbers, for red, green and blue");
    for (const double value : values)
        if (!(value >= 1 / kMostGain && value <= kMostGain))
            own.fault("gain", value <= 0 ? "is not above 0" : "is not between 1e-6 and 1e6");
    return {values[0], values[1], values[2]};
}

void readPlace(const JsonFields& root, const JsonFields& own, const LensSample& sample,
               SolvedPlate* plate) {
    plate->placed = own.flag("placed").value_or(sample.pose.has_value());
    plate->placed_by = own.text("placed_by");
    plate->why_not = own.text("why");
    if (!plate->placed) return;
    if (!sample.pose)
        root.fault("transforms",
                   "is missing, but the plate is said to be placed; give its "
                   "rotation, or set placed to false");
    plate->pose = *sample.pose;
    if (plate->placed_by.empty()) plate->placed_by = "pose";
    if (!sample.has_focal) root.object("lens").fault("pinholeFocalLength", "is missing");
    if (!sample.sensor_width_mm || !sample.sensor_width_px || !sample.sensor_height_px)
        root.object("static").object("camera").fault(
            "activeSensorPhysicalDimensions",
            "and activeSensorResolution are needed for a plate "
            "that is placed");
}

SolvedPlate readPlate(const JsonFields& root) {
    ParsedSample parsed = readSample(root);
    applyStatics(&parsed.sample, parsed.statics);
    const LensSample& sample = parsed.sample;
    const JsonFields own = root.object("custom").object("plateloom");
    SolvedPlate plate;
    plate.file = own.text("file");
    if (plate.file.empty()) own.fault("file", "is missing; it has to name the plate");
    readPlace(root, own, sample, &plate);
    plate.lens = sample.lens;
    plate.sensor.width_mm = sample.sensor_width_mm.value_or(0);
    plate.sensor.width_px = sample.sensor_width_px.value_or(0);
    plate.sensor.height_px = sample.sensor_height_px.value_or(0);
    const double square_mm = plate.sensor.width_px > 0 ? plate.sensor.mmPerPixelX() : 0;
    plate.sensor.height_mm = sample.sensor_height_mm.value_or(square_mm * plate.sensor.height_px);
    if (plate.placed)
        if (const auto fault = calib::faultOf(plate.lens, plate.sensor))
            root.fault("lens", "can't be used: " + *fault);
    plate.gain = readGain(own);
    plate.gain_sigma_stops = own.number("gain_sigma_stops");
    plate.ties = int(own.whole("ties", 0, 1 << 30).value_or(0));
    plate.rms_px = own.number("rms_px").value_or(0);
    plate.sigma_px = own.number("sigma_px").value_or(0);
    if (own.has("clip")) plate.clip = readSolvedClip(own.object("clip"));
    plate.frame_rate = sample.frame_rate;
    auto timecode = sample.timecode;
    if (!timecode && own.has("timecode")) {
        timecode = parseTimecode(own.text("timecode"));
        if (!timecode) own.fault("timecode", "is not a timecode like 01:02:03:04");
    }
    // A word of ST 12-1 has no room for more.
    constexpr int kMostPairs = 60, kMostFrames = 40;
    if (timecode && timecode->frames < (plate.frame_rate ? kMostPairs : kMostFrames))
        plate.timecode_word = smpteWord(*timecode, plate.frame_rate);
    return plate;
}

}  // namespace

std::unique_ptr<NewFile> writeSolveBeside(const std::filesystem::path& path,
                                          const std::vector<SolvedPlate>& plates, Made kind) {
    std::vector<Json> samples;
    std::string files;
    for (const SolvedPlate& plate : plates) {
        samples.push_back(sampleJson(plate));
        files += plate.file + "\n";
    }
    const std::string source = urnOf(files);
    std::string text;
    for (Json& sample : samples) {
        sample["sampleId"] = urnOf(source + lineOf(sample));
        sample["sourceId"] = source;
        sample["sourceNumber"] = 1;
        if (text.empty()) sample["custom"]["plateloom"]["made"] = openMark(kind);
        text += lineOf(sample) + "\n";
    }
    auto file = std::make_unique<NewFile>(path);
    file->write(text);
    return file;
}

void writeSolve(const std::filesystem::path& path, const std::vector<SolvedPlate>& plates,
                Made kind) {
    writeSolveBeside(path, plates, kind)->commit();
}

std::vector<SolvedPlate> readSolve(const std::filesystem::path& path) {
    const std::string text = readText(path);
    std::vector<SolvedPlate> plates;
    std::set<std::string> files;
    JsonSamples samples(text, path);
    while (samples.next()) {
        const JsonFields root = samples.fields();
        plates.push_back(readPlate(root));
        if (!files.insert(plates.back().file).second)
            root.object("custom")
                .object("plateloom")
                .fault("file",
                       plates.back().file + " stands in an earlier line too; keep one of the two");
    }
    if (plates.empty()) throw InputError(path.string(), "holds no plates");
    return plates;
}

}  // namespace plateloom::io
