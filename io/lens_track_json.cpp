#include "io/lens_track_json.h"

#include <Eigen/Core>
#include <algorithm>
#include <map>

#include "calib/focus.h"
#include "io/input_error.h"
#include "io/json_samples.h"
#include "io/measured_column.h"

namespace plateloom::io {

namespace {

std::optional<FrameRate> readRate(const JsonFields& parent, const char* key) {
    constexpr int64_t kMost = 2147483647;
    const JsonFields rate = parent.object(key);
    if (!rate) return std::nullopt;
    const auto num = rate.whole("num", 1, kMost), denom = rate.whole("denom", 1, kMost);
    if (!num || !denom) parent.fault(key, "needs num and denom");
    if (*num / *denom > 1000) parent.fault(key, "is beyond 1000 frames a second");
    return FrameRate{int(*num), int(*denom)};
}

// Lengths and stops: negative is a fault; 0 is how some trackers say that they do not know.
std::optional<double> readKnown(const JsonFields& parent, const char* key) {
    const auto value = parent.number(key);
    if (value && *value < 0) parent.fault(key, "is below 0");
    return value && *value > 0 ? value : std::nullopt;
}

// JSON has no number for infinity: some trackers write the word.
std::optional<double> readFocus(const JsonFields& lens) {
    constexpr const char* kKey = "focusDistance";
    if (lens.hasText(kKey) && saysInfinity(lens.text(kKey))) return calib::kFocusAtInfinity_m;
    const auto value = readKnown(lens, kKey);
    return value ? std::optional(calib::focusDistance(*value)) : std::nullopt;
}

std::string joined(std::initializer_list<std::string> words) {
    std::string out;
    for (const std::string& word : words)
        if (!word.empty()) out += (out.empty() ? "" : " ") + word;
    return out;
}

StaticBlock readStatics(const JsonFields& root) {
    StaticBlock out;
    const JsonFields block = root.object("static");
    const JsonFields camera = block.object("camera"), lens = block.object("lens");
    out.has_camera = bool(camera);
    out.has_lens = bool(lens);
    const JsonFields size = camera.object("activeSensorPhysicalDimensions");
    out.sensor_width_mm = readKnown(size, "width");
    out.sensor_height_mm = readKnown(size, "height");
    // No sensor is half a metre wide; early drafts counted micrometres.
    for (const auto& [key, mm] :
         {std::pair{"width", out.sensor_width_mm}, std::pair{"height", out.sensor_height_mm}})
        if (mm && *mm > 500) size.fault(key, "is no sensor's size in millimetres");
    const JsonFields pixels = camera.object("activeSensorResolution");
    constexpr int64_t kMostPixels = 1 << 20;
    if (const auto w = pixels.whole("width", 0, kMostPixels); w && *w > 0)
        out.sensor_width_px = int(*w);
    if (const auto h = pixels.whole("height", 0, kMostPixels); h && *h > 0)
        out.sensor_height_px = int(*h);
    out.iso = readKnown(camera, "isoSpeed");
    out.shutter_deg = readKnown(camera, "shutterAngle");
    out.capture_rate = readRate(camera, "captureFrameRate");
    out.nominal_focal_mm = readKnown(lens, "nominalFocalLength");
    out.camera_name = joined({camera.text("label"), camera.text("make"), camera.text("model"),
                              camera.text("serialNumber")});
    out.lens_name = joined({lens.text("make"), lens.text("model"), lens.text("serialNumber")});
    return out;
}

calib::Distortion readTerms(const JsonFields& entry, calib::DistortionDirection direction) {
    calib::Distortion out;
    out.direction = direction;
    if (!entry.has("radial")) entry.fault("radial", "is missing");
    const auto radial = entry.numbers("radial", out.radial.size());
    const auto tangential = entry.numbers("tangential", out.tangential.size());
    std::copy(radial.begin(), radial.end(), out.radial.begin());
    std::copy(tangential.begin(), tangential.end(), out.tangential.begin());
    return out;
}

// The first entry that flattens in closed form, else the first that is known at all.
void readDistortion(const JsonFields& lens, LensSample* sample) {
    using calib::DistortionDirection;
    std::vector<JsonFields> entries = lens.objects("undistortion");
    for (JsonFields& entry : lens.objects("distortion")) entries.push_back(std::move(entry));
    const JsonFields* chosen = nullptr;
    DistortionDirection chosen_direction = DistortionDirection::recorded_to_flat;
    for (const JsonFields& entry : entries) {
        const auto direction = directionOf(entry.text("model"));
        if (!direction) continue;
        const bool closed = *direction == DistortionDirection::recorded_to_flat;
        if (!chosen || (closed && chosen_direction != *direction)) {
            chosen = &entry;
            chosen_direction = *direction;
        }
        if (closed) break;
    }
    if (!chosen) {
        if (!entries.empty())
            entries.front().fault("model", "\"" + entries.front().text("model") +
                                               "\" is not a model that is understood here; "
                                               "Brown-Conrady D-U and U-D are");
        return;
    }
    sample->lens.distortion = readTerms(*chosen, chosen_direction);
    sample->has_distortion = true;
}

calib::Vector2d readOffset(const JsonFields& lens, const char* key, const char* draft_key,
                           const char* draft_x, const char* draft_y) {
    if (const JsonFields offset = lens.object(key))
        return {offset.number("x").value_or(0), offset.number("y").value_or(0)};
    const JsonFields draft = lens.object(draft_key);
    return {draft.number(draft_x).value_or(0), draft.number(draft_y).value_or(0)};
}

void readLens(const JsonFields& lens, LensSample* sample) {
    if (!lens) return;
    for (const char* key : {"pinholeFocalLength", "focalLength"}) {
        const auto focal = lens.number(key);
        if (!focal) continue;
        if (*focal <= 0) lens.fault(key, "is not above 0");
        sample->lens.focal_mm = *focal;
        sample->has_focal = true;
        break;
    }
    readDistortion(lens, sample);
    sample->lens.distortion_offset_mm =
        readOffset(lens, "distortionOffset", "distortionShift", "Cx", "Cy");
    sample->lens.projection_offset_mm =
        readOffset(lens, "projectionOffset", "perspectiveShift", "Px", "Py");
    if (const JsonFields falloff = lens.object("exposureFalloff")) {
        sample->lens.shading = {falloff.number("a1").value_or(0), falloff.number("a2").value_or(0),
                                falloff.number("a3").value_or(0)};
        sample->has_shading = true;
    }
    sample->lens.focus_m = readFocus(lens);
    sample->lens.f_stop = readKnown(lens, "fStop");
    sample->lens.t_stop = readKnown(lens, "tStop");
    sample->lens.entrance_pupil_offset_m = lens.number("entrancePupilOffset");
}

// "Transforms are composed in order with the last in the list representing the camera."
void readTransforms(const JsonFields& root, LensSample* sample) {
    const std::vector<JsonFields> chain = root.objects("transforms");
    calib::Matrix3d worldFromHere = calib::Matrix3d::Identity();
    calib::Vector3d translation_m = calib::Vector3d::Zero();
    calib::PanTiltRoll pose;
    bool turns = false, moves = false;
    for (const JsonFields& link : chain) {
        const JsonFields t = link.object("translation"), r = link.object("rotation");
        translation_m +=
            worldFromHere * calib::Vector3d(t.number("x").value_or(0), t.number("y").value_or(0),
                                            t.number("z").value_or(0));
        pose = {r.number("pan").value_or(0), r.number("tilt").value_or(0),
                r.number("roll").value_or(0)};
        worldFromHere *= calib::worldFromCamera(pose);
        turns |= bool(r);
        moves |= bool(t);
    }
    // One link's angles travel as they are, without the rounding of a matrix.
    if (turns) sample->pose = chain.size() == 1 ? pose : calib::panTiltRoll(worldFromHere);
    if (moves) sample->translation_m = translation_m;
}

void readTiming(const JsonFields& timing, LensSample* sample) {
    sample->frame_rate = readRate(timing, "sampleRate");
    if (!sample->frame_rate) sample->frame_rate = readRate(timing, "frameRate");
    const JsonFields code = timing.object("timecode");
    if (!code) return;
    const JsonFields format = code.object("format");
    auto rate = readRate(code, "frameRate");
    if (!rate) rate = readRate(format, "frameRate");
    if (rate) sample->frame_rate = rate;

    Timecode t;
    const auto part = [&](const char* key, int most) {
        const auto value = code.whole(key, 0, most);
        if (!value) code.fault(key, "is missing");
        return int(*value);
    };
    t.hours = part("hours", 23);
    t.minutes = part("minutes", 59);
    t.seconds = part("seconds", 59);
    t.frames = part("frames", 119);
    t.drop_frame = code.flag("dropFrame").value_or(format.flag("dropFrame").value_or(false));
    if (sample->frame_rate && t.frames >= sample->frame_rate->counting())
        code.fault("frames", std::to_string(t.frames) + " does not exist at " +
                                 std::to_string(sample->frame_rate->counting()) +
                                 " frames a second");
    sample->timecode = t;
    sample->sub_frame = int(code.whole("subFrame", 0, 1 << 30).value_or(0));
}

}  // namespace

std::optional<calib::DistortionDirection> directionOf(std::string_view model) {
    std::string letters;
    for (const char c : model)
        if (std::isalnum(static_cast<unsigned char>(c)))
            letters += char(std::tolower(static_cast<unsigned char>(c)));
    constexpr std::string_view kFamily = "brownconrady";
    if (letters.starts_with(kFamily)) letters.erase(0, kFamily.size());
    if (letters.empty() || letters == "du") return calib::DistortionDirection::recorded_to_flat;
    if (letters == "ud") return calib::DistortionDirection::flat_to_recorded;
    return std::nullopt;
}

void StaticBlock::update(const StaticBlock& newer) {
    if (newer.has_camera) {
        const StaticBlock old = *this;
        *this = newer;
        nominal_focal_mm = old.nominal_focal_mm;
        lens_name = old.lens_name;
        has_lens = old.has_lens;
    }
    if (newer.has_lens) {
        nominal_focal_mm = newer.nominal_focal_mm;
        lens_name = newer.lens_name;
        has_lens = true;
    }
}

ParsedSample readSample(const JsonFields& root) {
    const auto known = {"lens",    "static",   "timing",   "transforms",
                        "tracker", "sampleId", "protocol", "globalStage"};
    if (std::none_of(known.begin(), known.end(), [&](const char* key) { return root.has(key); }))
        root.fault("lens",
                   "is missing, and so is everything else that makes an OpenTrackIO sample");
    ParsedSample out;
    out.statics = readStatics(root);
    readLens(root.object("lens"), &out.sample);
    readTransforms(root, &out.sample);
    readTiming(root.object("timing"), &out.sample);
    const JsonFields tracker = root.object("tracker");
    out.sample.clip = tracker ? tracker.text("slate") : root.object("device").text("slate");
    if (root.has("sourceId") || root.has("sourceNumber"))
        out.source = root.text("sourceId") + "#" +
                     std::to_string(root.whole("sourceNumber", 0, 4294967295).value_or(0));
    // Only our own field is taken for a file's name; others' custom fields mean what they mean.
    out.sample.file = root.objectIfAny("custom").objectIfAny("plateloom").text("file");
    return out;
}

void applyStatics(LensSample* sample, const StaticBlock& statics) {
    sample->sensor_width_mm = statics.sensor_width_mm;
    sample->sensor_height_mm = statics.sensor_height_mm;
    sample->sensor_width_px = statics.sensor_width_px;
    sample->sensor_height_px = statics.sensor_height_px;
    sample->iso = statics.iso;
    sample->shutter_deg = statics.shutter_deg;
    if (!sample->frame_rate) sample->frame_rate = statics.capture_rate;
    if (!sample->has_focal && statics.nominal_focal_mm) {
        sample->lens.focal_mm = *statics.nominal_focal_mm;
        sample->has_focal = sample->focal_is_nominal = true;
    }
    sample->camera = joined({statics.camera_name, statics.lens_name});
}

LensTrack readLensTrackJson(const std::filesystem::path& path, std::string_view text) {
    LensTrack track;
    track.path = path;
    JsonSamples samples(text, path);

    // What a source's static block says holds from its first mention on, and before it too, for
    // the samples that came ahead of the first one.
    struct Source {
        StaticBlock statics;
        bool known = false;
        std::vector<size_t> waiting;
    };
    std::map<std::string, Source> sources;
    while (samples.next()) {
        ParsedSample parsed = readSample(samples.fields());
        parsed.sample.line = samples.line();
        parsed.sample.number = samples.number();
        Source& source = sources[parsed.source];
        if (parsed.statics.has_camera || parsed.statics.has_lens) {
            source.statics.update(parsed.statics);
            if (!source.known)
                for (const size_t i : source.waiting)
                    applyStatics(&track.samples[i], source.statics);
            source.known = true;
        }
        if (source.known)
            applyStatics(&parsed.sample, source.statics);
        else
            source.waiting.push_back(track.samples.size());
        track.samples.push_back(std::move(parsed.sample));
    }
    return track;
}

}  // namespace plateloom::io
