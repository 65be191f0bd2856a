#include "world/recording.h"

#include <OpenImageIO/imageio.h>

#include <cmath>
#include <fstream>
#include <memory>

#include "io/input_error.h"
#include "world/lens_truth.h"
#include "world/timecode_label.h"
#include "world/truth.h"

namespace plateloom::world {

namespace {

// Rec.709 primaries and D65 (ITU-R BT.709-6).
constexpr float kRec709[8] = {0.64f, 0.33f, 0.30f, 0.60f, 0.15f, 0.06f, 0.3127f, 0.3290f};

// The library would write the time of rendering; the same shoot is to give the same files.
constexpr const char* kEvening = "2031:10:17 19:41:00";

void write(const std::filesystem::path& path, const OIIO::ImageSpec& spec,
           const io::Picture& picture) {
    const auto out = OIIO::ImageOutput::create(path.string());
    if (!out || !out->open(path.string(), spec) ||
        !out->write_image(OIIO::TypeDesc::FLOAT, picture.data.data()) || !out->close())
        throw io::RoomError(path.string(),
                            "can't be written: " + (out ? out->geterror() : OIIO::geterror()));
}

float srgbFromLinear(float v) {  // IEC 61966-2-1
    v = std::min(1.0f, std::max(0.0f, v));
    return v <= 0.0031308f ? 12.92f * v : 1.055f * std::pow(v, 1.0f / 2.4f) - 0.055f;
}

std::ofstream openText(const std::filesystem::path& path) {
    std::ofstream out(path);
    if (!out) throw io::RoomError(path.string(), "can't be written");
    out.precision(15);
    return out;
}

}  // namespace

uint32_t timecodeWord(int64_t frame, const Rate& rate) {
    const Label label = labelOf(frame, rate);
    const auto bcd = [](int v) { return uint32_t(v / 10) << 4 | uint32_t(v % 10); };
    // Above 30 frames a second the word counts pairs, and the field mark tells the second of one.
    const bool pairs = rate.num > 30 * rate.denom;
    return bcd(pairs ? label.frames / 2 : label.frames) |
           uint32_t(pairs && label.frames % 2) << 15 | uint32_t(rate.drop_frame) << 6 |
           bcd(label.seconds) << 8 | bcd(label.minutes) << 16 | bcd(label.hours) << 24;
}

namespace {

OIIO::ImageSpec exrSpec(const io::Picture& picture) {
    OIIO::ImageSpec spec(picture.width, picture.height, picture.channels, OIIO::TypeDesc::HALF);
    spec.attribute("compression", "zip");
    spec.attribute("oiio:ColorSpace", "Linear");
    spec.attribute("DateTime", kEvening);
    spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8), kRec709);
    return spec;
}

void addTiming(const PlannedPlate& planned, const Rate& rate, bool timecode,
               OIIO::ImageSpec* spec) {
    if (timecode) {
        const uint32_t words[2] = {timecodeWord(planned.frame, rate), 0};
        spec->attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    }
    const int fps[2] = {rate.num, rate.denom};
    spec->attribute("FramesPerSecond", OIIO::TypeRational, fps);
}

// Standard optional attributes of OpenEXR (ImfStandardAttributes.h of OpenEXR 3.2).
void addLensSettings(const calib::Lens& lens, double nominal_mm, const calib::Sensor& sensor,
                     OIIO::ImageSpec* spec) {
    if (lens.focus_m) spec->attribute("focus", float(*lens.focus_m));
    if (lens.t_stop) spec->attribute("tStop", float(*lens.t_stop));
    spec->attribute("nominalFocalLength", float(nominal_mm));
    const float size_mm[2] = {float(sensor.width_mm), float(sensor.height_mm)};
    spec->attribute("sensorOverallDimensions",
                    OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, OIIO::TypeDesc::VEC2), size_mm);
}

}  // namespace

void writePlateExr(const std::filesystem::path& path, const io::Picture& plate,
                   const PlannedPlate& planned, const Rate& rate, bool timecode) {
    OIIO::ImageSpec spec = exrSpec(plate);
    addTiming(planned, rate, timecode, &spec);
    write(path, spec, plate);
}

void writePlateExr(const std::filesystem::path& path, const io::Picture& plate, const Shoot& shoot,
                   const PlannedPlate& planned) {
    OIIO::ImageSpec spec = exrSpec(plate);
    addTiming(planned, shoot.settings.rate, shoot.settings.timecodes, &spec);
    if (shoot.settings.lens_in_header) {
        addLensSettings(planned.saidLens(), shoot.settings.focal_mm, shoot.sensor, &spec);
        spec.attribute("isoSpeed", float(planned.iso));
        spec.attribute("shutterAngle", 180.0f);
    }
    write(path, spec, plate);
}

void writePrepExr(const std::filesystem::path& path, const io::Picture& picture,
                  const calib::Lens& lens, double nominal_mm, const calib::Sensor& sensor) {
    OIIO::ImageSpec spec = exrSpec(picture);
    addLensSettings(lens, nominal_mm, sensor, &spec);
    write(path, spec, picture);
}

void writePhotograph(const std::filesystem::path& path, const io::Picture& plate,
                     const PlannedPlate& planned, double sensor_width_mm) {
    io::Picture display = plate;
    for (float& v : display.data) v = srgbFromLinear(v);
    OIIO::ImageSpec spec(plate.width, plate.height, 3, OIIO::TypeDesc::UINT8);
    spec.attribute("CompressionQuality", 93);
    spec.attribute("DateTime", kEvening);
    spec.attribute("oiio:ColorSpace", "sRGB");
    const double focal = planned.lens.focal_mm;
    spec.attribute("Exif:FocalLength", float(std::round(focal * 10) / 10));
    spec.attribute("Exif:FocalLengthIn35mmFilm", int(std::lround(focal * 36.0 / sensor_width_mm)));
    spec.attribute("FNumber", float(planned.lens.f_stop.value_or(5.6)));
    spec.attribute("ExposureTime", 1.0f / 60);
    spec.attribute("Exif:PhotographicSensitivity", int(planned.iso));
    spec.attribute("Make", "Invented");
    spec.attribute("Model", "Pocket One");
    write(path, spec, display);
}

void writeCameraReport(const std::filesystem::path& path, const Shoot& shoot) {
    auto out = openText(path);
    out << "file,pan_deg,tilt_deg,focal_mm,focus_m,t_stop,iso,shutter_deg,nd_stops\n";
    const auto half = [](double deg) { return std::round(deg * 2) / 2; };
    for (const PlannedPlate& plate : shoot.plates)
        out << plate.file << ',' << half(plate.pose.pan_deg) << ',' << half(plate.pose.tilt_deg)
            << ',' << shoot.settings.focal_mm << ','
            << std::round(*plate.saidLens().focus_m * 10) / 10 << ',' << *plate.saidLens().t_stop
            << ',' << plate.iso << ",180,0\n";
}

void writeTruePoses(const std::filesystem::path& path, const Shoot& shoot) {
    auto out = openText(path);
    out << "file,pan_deg,tilt_deg,roll_deg,focal_px,exposure\n";
    for (const PlannedPlate& plate : shoot.plates)
        out << plate.file << ',' << plate.pose.pan_deg << ',' << plate.pose.tilt_deg << ','
            << plate.pose.roll_deg << ',' << calib::LensMap(plate.lens, shoot.sensor).focal_px()
            << ',' << plate.exposure << '\n';
}

void writeShoot(const std::filesystem::path& folder, const Shoot& shoot, const TrackFormat& track,
                bool report) {
    const Scene scene(shoot.settings.scene);
    std::filesystem::create_directories(folder / "truth");
    for (size_t i = 0; i < shoot.plates.size(); ++i) {
        const PlannedPlate& planned = shoot.plates[i];
        const io::Picture plate = recordPlate(shoot, scene, i);
        if (shoot.settings.photographs)
            writePhotograph(folder / planned.file, plate, planned, shoot.sensor.width_mm);
        else
            writePlateExr(folder / planned.file, plate, shoot, planned);
    }
    writeTruePoses(folder / "truth" / "poses.csv", shoot);
    writeTrueCameras(folder / "truth" / "cameras.csv", shoot);
    writeScene(folder / "truth" / "scene.json", shoot.settings.scene);
    if (shoot.settings.photographs) return;
    writeLensTrack(folder / "lens.jsonl", shoot, track);
    if (report) writeCameraReport(folder / "report.csv", shoot);
}

void writePanoramaExr(const std::filesystem::path& path, const io::Picture& panorama) {
    OIIO::ImageSpec spec(panorama.width, panorama.height, 3, OIIO::TypeDesc::FLOAT);
    spec.attribute("compression", "zip");
    spec.attribute("oiio:ColorSpace", "Linear");
    spec.attribute("openexr:envmap", "latlong");
    spec.attribute("envmap", "latlong");
    spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8), kRec709);
    write(path, spec, panorama);
}

}  // namespace plateloom::world
