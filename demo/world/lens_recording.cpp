// The lens track of a shoot, as OpenTrackIO samples.
#include <fstream>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "world/noise.h"
#include "world/recording.h"
#include "world/timecode_label.h"

namespace plateloom::world {

namespace {

using Json = nlohmann::ordered_json;

std::string uuid(uint32_t a, uint32_t b) {
    char text[64];
    std::snprintf(text, sizeof text, "urn:uuid:%08x-%04x-4%03x-a%03x-%08x%04x", hash(a, b, 1),
                  hash(a, b, 2) & 0xffff, hash(a, b, 3) & 0xfff, hash(a, b, 4) & 0xfff,
                  hash(a, b, 5), hash(a, b, 6) & 0xffff);
    return text;
}

Json lensBlock(const calib::Lens& lens) {
    const auto& d = lens.distortion;
    const bool to_recorded = d.direction == calib::DistortionDirection::flat_to_recorded;
    Json block;
    block["pinholeFocalLength"] = lens.focal_mm;
    block["distortion"] = Json::array({{
        {"model", to_recorded ? "Brown-Conrady U-D" : "Brown-Conrady D-U"},
        {"radial", d.radial},
        {"tangential", d.tangential},
    }});
    block["distortionOffset"] = {{"x", lens.distortion_offset_mm.x()},
                                 {"y", lens.distortion_offset_mm.y()}};
    block["projectionOffset"] = {{"x", lens.projection_offset_mm.x()},
                                 {"y", lens.projection_offset_mm.y()}};
    block["exposureFalloff"] = {
        {"a1", lens.shading.a1}, {"a2", lens.shading.a2}, {"a3", lens.shading.a3}};
    if (lens.focus_m) block["focusDistance"] = *lens.focus_m;
    if (lens.f_stop) block["fStop"] = *lens.f_stop;
    if (lens.t_stop) block["tStop"] = *lens.t_stop;
    if (lens.entrance_pupil_offset_m) block["entrancePupilOffset"] = *lens.entrance_pupil_offset_m;
    return block;
}

Json staticBlock(const Shoot& shoot, const TrackFormat& format) {
    const Rate& rate = shoot.settings.rate;
    const auto& sensor = shoot.sensor;
    Json camera;
    camera["captureFrameRate"] = {{"num", rate.num}, {"denom", rate.denom}};
    camera["activeSensorPhysicalDimensions"] = {{"height", sensor.height_mm},
                                                {"width", sensor.width_mm}};
    camera["activeSensorResolution"] = {{"height", sensor.height_px}, {"width", sensor.width_px}};
    camera["label"] = format.camera;
    camera["make"] = "Invented";
    camera["model"] = "Plate camera";
    camera["serialNumber"] = format.serial;
    camera["shutterAngle"] = 180.0;
    Json lens;
    lens["make"] = "Invented";
    lens["model"] = "Prime";
    lens["serialNumber"] = std::to_string(shoot.settings.seed);
    lens["nominalFocalLength"] = shoot.settings.focal_mm;
    return {{"camera", camera}, {"lens", lens}};
}

Json timing(int64_t frame, int sub_frame, uint32_t number, const Rate& rate,
            const TrackFormat& format, bool timecode) {
    Json block;
    block["mode"] = "internal";
    block["sampleRate"] = {{"num", rate.num * format.samples_per_frame}, {"denom", rate.denom}};
    block["sequenceNumber"] = number;
    if (timecode) {
        const Label label = labelOf(frame, rate);
        block["timecode"] = {{"hours", label.hours},
                             {"minutes", label.minutes},
                             {"seconds", label.seconds},
                             {"frames", label.frames},
                             {"frameRate", {{"num", rate.num}, {"denom", rate.denom}}}};
        if (rate.drop_frame) block["timecode"]["dropFrame"] = true;
        if (format.samples_per_frame > 1) block["timecode"]["subFrame"] = sub_frame;
    }
    return block;
}

Json transform(const PlannedPlate& plate, double noise_deg, uint32_t number) {
    const auto wobble = [&](uint32_t axis) {
        return noise_deg *
               (unit(hash(number, axis, 91)) + unit(hash(number, axis, 92)) +
                unit(hash(number, axis, 93)) - 1.5) *
               2.0;
    };
    Json rotation = {{"pan", plate.pose.pan_deg + wobble(0)},
                     {"tilt", plate.pose.tilt_deg + wobble(1)},
                     {"roll", plate.pose.roll_deg + wobble(2)}};
    Json translation = {
        {"x", plate.origin_m.x()}, {"y", plate.origin_m.y()}, {"z", plate.origin_m.z()}};
    return Json::array({{{"translation", translation}, {"rotation", rotation}, {"id", "Camera"}}});
}

}  // namespace

void writeLensTrack(const std::filesystem::path& path, const Shoot& shoot,
                    const TrackFormat& format) {
    std::vector<Json> samples;
    const bool timecodes = shoot.settings.timecodes;
    const int around = timecodes ? format.frames_around : 0;
    for (const PlannedPlate& plate : shoot.plates) {
        if (plate.sample_lost) continue;
        for (int off = -around; off <= around; ++off) {
            const uint32_t number = uint32_t(samples.size());
            Json sample;
            if (format.static_each || samples.empty())
                sample["static"] = staticBlock(shoot, format);
            if (!format.slate.empty()) sample["tracker"] = {{"slate", format.slate}};
            sample["protocol"] = {{"name", "OpenTrackIO"}, {"version", {1, 0, 0}}};
            sample["sampleId"] = uuid(number, shoot.settings.seed);
            sample["sourceId"] = uuid(0xA11CE, shoot.settings.seed);
            sample["sourceNumber"] = 1;
            sample["timing"] = timing(plate.frame + off, plate.sub_frame, number,
                                      shoot.settings.rate, format, timecodes);
            // Focus creeps through a take, so the sample of the frame beside is not quite right.
            calib::Lens lens = plate.saidLens();
            lens.focal_mm *= 1 + 2e-4 * off;
            lens.focus_m = *lens.focus_m * (1 - 0.01 * off);
            sample["lens"] = lensBlock(lens);
            if (format.poses)
                sample["transforms"] = transform(plate, format.pose_noise_deg, number);
            samples.push_back(std::move(sample));
        }
    }
    std::ofstream out(path);
    if (!out) throw io::RoomError(path.string(), "can't be written");
    if (format.array) {
        out << Json(samples).dump(1) << '\n';
    } else {
        for (const Json& sample : samples) out << sample.dump() << '\n';
    }
}

}  // namespace plateloom::world
