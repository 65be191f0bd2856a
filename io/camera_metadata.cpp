#include "io/camera_metadata.h"

#include <cmath>
#include <initializer_list>

#include "calib/focus.h"

namespace plateloom::io {

namespace {

constexpr double kMmPerInch = 25.4;

// The first of the names that holds a positive, finite number.
std::optional<double> positive(const OIIO::ImageSpec& spec,
                               std::initializer_list<const char*> names) {
    for (const char* name : names) {
        const float value = spec.get_float_attribute(name, 0.0f);
        if (std::isfinite(value) && value > 0) return double(value);
    }
    return std::nullopt;
}

// APEX values are exponents of 2 (EXIF, annex C), and an absurd one has no power.
std::optional<double> powerOf2(double exponent) {
    const double power = std::exp2(exponent);
    return std::isfinite(power) && power > 0 ? std::optional(power) : std::nullopt;
}

std::string text(const OIIO::ImageSpec& spec, std::initializer_list<const char*> names) {
    for (const char* name : names) {
        std::string value = spec.get_string_attribute(name);
        const size_t begin = value.find_first_not_of(" \t\r\n");
        if (begin == std::string::npos) continue;
        const size_t end = value.find_last_not_of(" \t\r\n");
        return value.substr(begin, end - begin + 1);
    }
    return "";
}

// EXIF says how many photosites lie in a unit of length, for the picture as it was recorded: a
// smaller copy of it kept the recorded size in PixelXDimension.
std::optional<double> focalPlaneWidth_mm(const PictureSource& source) {
    const OIIO::ImageSpec& spec = source.spec;
    const bool turned = source.orientation.swaps;
    const auto per_unit_x = positive(spec, {"Exif:FocalPlaneXResolution"});
    const auto per_unit_y = positive(spec, {"Exif:FocalPlaneYResolution"});
    if (!per_unit_x && !per_unit_y) return std::nullopt;
    double unit_mm = kMmPerInch;
    switch (spec.get_int_attribute("Exif:FocalPlaneResolutionUnit", 2)) {
        case 3:
            unit_mm = 10.0;
            break;
        case 4:
            unit_mm = 1.0;
            break;
        case 5:
            unit_mm = 0.001;
            break;
        default:
            break;
    }
    double recorded_width = spec.full_width, recorded_height = spec.full_height;
    const double exif_width = spec.get_int_attribute("Exif:PixelXDimension", 0);
    const double exif_height = spec.get_int_attribute("Exif:PixelYDimension", 0);
    constexpr double kSameShape = 0.01;
    if (exif_width > 0 && exif_height > 0 &&
        std::abs(exif_width / exif_height * recorded_height / recorded_width - 1) < kSameShape) {
        recorded_width = exif_width;
        recorded_height = exif_height;
    }
    // The upright picture's width lies along the stored rows or the stored columns.
    const double extent = turned ? recorded_height : recorded_width;
    const double per_unit = turned ? per_unit_y.value_or(per_unit_x.value_or(0))
                                   : per_unit_x.value_or(per_unit_y.value_or(0));
    return extent / per_unit * unit_mm;
}

// OpenEXR's standard optional attributes (ImfStandardAttributes.h of OpenEXR 3.2): the whole sensor
// in millimetres, the pitch of photosites in micrometres, and the rectangle of photosites that was
// recorded, which is what the picture shows.
std::optional<double> exrSensorWidth_mm(const PictureSource& source) {
    const OIIO::ImageSpec& spec = source.spec;
    const int along = source.orientation.swaps ? 1 : 0;
    if (const auto pitch_um = positive(spec, {"sensorPhotositePitch"})) {
        double photosites = source.uprightWidth();
        const auto* recorded = spec.find_attribute("sensorAcquisitionRectangle");
        if (recorded && recorded->type().basetype == OIIO::TypeDesc::INT &&
            recorded->type().basevalues() == 4) {
            const int* box = static_cast<const int*>(recorded->data());
            photosites = double(box[2 + along]) - box[along] + 1;
        }
        return *pitch_um * 0.001 * photosites;
    }
    const auto* whole = spec.find_attribute("sensorOverallDimensions");
    if (whole && whole->type().basetype == OIIO::TypeDesc::FLOAT &&
        whole->type().basevalues() == 2) {
        return double(static_cast<const float*>(whole->data())[along]);
    }
    return std::nullopt;
}

// From the smallest telephone to a medium-format back; numbers outside are slips of the unit.
bool isPlausibleSensor(double width_mm) {
    return width_mm > 1.5 && width_mm < 120.0;
}

void readSensorWidth(const PictureSource& source, PlateFile& file) {
    auto width_mm = exrSensorWidth_mm(source);
    if (!width_mm) width_mm = focalPlaneWidth_mm(source);
    if (width_mm && isPlausibleSensor(*width_mm)) file.sensor_width_mm = width_mm;
}

// EXIF writes infinity as the largest numerator, which is a distance beyond all others.
std::optional<double> focusOf(const OIIO::ImageSpec& spec) {
    for (const char* name : {"focus", "openexr:focus", "Exif:SubjectDistance"}) {
        const float value = spec.get_float_attribute(name, 0.0f);
        if (value > 0) return calib::focusDistance(double(value));
    }
    return std::nullopt;
}

void readLensSettings(const OIIO::ImageSpec& spec, PlateFile& file) {
    file.focal_mm =
        positive(spec, {"effectiveFocalLength", "pinholeFocalLength", "Exif:FocalLength",
                        "nominalFocalLength", "FocalLength", "focalLength"});
    file.focal_35mm_equivalent = positive(spec, {"Exif:FocalLengthIn35mmFilm"});
    file.focus_m = focusOf(spec);
    file.f_stop = positive(spec, {"FNumber", "Exif:FNumber", "aperture"});
    if (!file.f_stop) {
        // Av = 2 log2(N).
        if (const auto apex = positive(spec, {"Exif:ApertureValue"}))
            file.f_stop = powerOf2(*apex / 2);
    }
    file.t_stop = positive(spec, {"tStop"});
}

void readExposure(const OIIO::ImageSpec& spec, PlateFile& file) {
    file.iso = positive(spec, {"Exif:PhotographicSensitivity", "Exif:ISOSpeedRatings", "isoSpeed",
                               "Exif:ISOSpeed"});
    file.shutter_s = positive(spec, {"ExposureTime", "Exif:ExposureTime", "expTime"});
    if (!file.shutter_s && spec.find_attribute("Exif:ShutterSpeedValue")) {
        // Tv = -log2(t); may be negative for long exposures.
        file.shutter_s = powerOf2(-double(spec.get_float_attribute("Exif:ShutterSpeedValue")));
    }
    file.shutter_deg = positive(spec, {"shutterAngle", "dpx:ShutterAngle"});
}

void readFrameRate(const OIIO::ImageSpec& spec, PlateFile& file) {
    for (const char* name : {"framesPerSecond", "FramesPerSecond", "captureRate"}) {
        const auto* found = spec.find_attribute(name);
        if (!found || found->type() != OIIO::TypeRational) continue;
        const auto* fraction = static_cast<const int*>(found->data());
        if (fraction[0] > 0 && fraction[1] > 0 && fraction[0] / fraction[1] <= 1000) {
            file.frame_rate = FrameRate{fraction[0], fraction[1]};
            return;
        }
    }
    // DPX holds a float: take it for the fraction of ST 12-1 that it rounds.
    const auto rate = positive(spec, {"dpx:FrameRate", "dpx:TemporalFrameRate"});
    if (!rate || *rate > 1000) return;
    const int whole = int(std::lround(*rate));
    if (whole > 0 && std::abs(*rate - whole) < 1e-3) {
        file.frame_rate = FrameRate{whole, 1};
    } else if (std::abs(*rate - std::ceil(*rate) * 1000 / 1001) < 5e-3) {
        file.frame_rate = FrameRate{int(std::ceil(*rate)) * 1000, 1001};
    }
}

void readNames(const OIIO::ImageSpec& spec, PlateFile& file) {
    for (const std::string& part :
         {text(spec, {"Make", "cameraMake"}), text(spec, {"Model", "cameraModel"}),
          text(spec, {"Exif:BodySerialNumber", "cameraSerialNumber"}),
          text(spec, {"Exif:LensMake", "lensMake"}),
          text(spec, {"Exif:LensModel", "lensModel", "Lens"}),
          text(spec, {"Exif:LensSerialNumber", "lensSerialNumber"})}) {
        if (part.empty()) continue;
        file.camera += (file.camera.empty() ? "" : " ") + part;
    }
    file.clip = text(spec, {"reelName", "clipName", "dpx:SlateInfo"});
    if (file.clip.empty()) file.clip = file.path.stem().string();
}

}  // namespace

void readCameraMetadata(const PictureSource& source, PlateFile& file) {
    readLensSettings(source.spec, file);
    readSensorWidth(source, file);
    readExposure(source.spec, file);
    readFrameRate(source.spec, file);
    readNames(source.spec, file);
}

}  // namespace plateloom::io
