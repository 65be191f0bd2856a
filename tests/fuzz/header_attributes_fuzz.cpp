// Attributes of EXIF and OpenEXR headers, past the libraries that parse them: any of the names that
// we know, with a value of any type.
#include <OpenImageIO/imageio.h>

#include <cmath>
#include <cstring>

#include "io/camera_metadata.h"
#include "io/code_range.h"
#include "io/picture_source.h"
#include "tests/fuzz/fuzz_target.h"

namespace {

constexpr const char* kNames[] = {"focus",
                                  "Exif:SubjectDistance",
                                  "effectiveFocalLength",
                                  "Exif:FocalLength",
                                  "nominalFocalLength",
                                  "Exif:FocalLengthIn35mmFilm",
                                  "FNumber",
                                  "Exif:ApertureValue",
                                  "tStop",
                                  "Exif:PhotographicSensitivity",
                                  "isoSpeed",
                                  "ExposureTime",
                                  "Exif:ShutterSpeedValue",
                                  "shutterAngle",
                                  "dpx:ShutterAngle",
                                  "framesPerSecond",
                                  "captureRate",
                                  "dpx:FrameRate",
                                  "dpx:TemporalFrameRate",
                                  "Make",
                                  "cameraModel",
                                  "Exif:LensModel",
                                  "reelName",
                                  "dpx:SlateInfo",
                                  "Exif:FocalPlaneXResolution",
                                  "Exif:FocalPlaneYResolution",
                                  "Exif:FocalPlaneResolutionUnit",
                                  "Exif:PixelXDimension",
                                  "Exif:PixelYDimension",
                                  "sensorPhotositePitch",
                                  "sensorAcquisitionRectangle",
                                  "sensorOverallDimensions",
                                  "dpx:Transfer",
                                  "dpx:BlackLevel",
                                  "dpx:WhiteLevel",
                                  "dpx:LowData",
                                  "dpx:HighData",
                                  "oiio:BitsPerSample"};

const OIIO::TypeDesc kTypes[] = {OIIO::TypeInt,
                                 OIIO::TypeUInt,
                                 OIIO::TypeFloat,
                                 OIIO::TypeDesc(OIIO::TypeDesc::DOUBLE),
                                 OIIO::TypeRational,
                                 OIIO::TypeDesc(OIIO::TypeDesc::INT, OIIO::TypeDesc::VEC4),
                                 OIIO::TypeDesc(OIIO::TypeDesc::INT, 4),
                                 OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, OIIO::TypeDesc::VEC2),
                                 OIIO::TypeDesc(OIIO::TypeDesc::INT, OIIO::TypeDesc::VEC2, 2),
                                 OIIO::TypeInt16};

}  // namespace

PLATELOOM_FUZZ_TARGET(header_attributes) {
    using namespace plateloom;
    io::PictureSource source;
    source.spec = OIIO::ImageSpec(1920, 1080, 3, OIIO::TypeHalf);
    while (bytes.size() > 2) {
        const char* name = kNames[uint8_t(bytes[0]) % std::size(kNames)];
        const size_t kind = uint8_t(bytes[1]) % (std::size(kTypes) + 1);
        bytes.remove_prefix(2);
        if (kind == std::size(kTypes)) {
            const auto text = bytes.substr(0, bytes.find('\n'));
            source.spec.attribute(name, text);
            bytes.remove_prefix(std::min(bytes.size(), text.size() + 1));
            continue;
        }
        alignas(8) char value[32] = {};
        const size_t size = std::min(kTypes[kind].size(), bytes.size());
        std::memcpy(value, bytes.data(), size);
        source.spec.attribute(name, kTypes[kind], value);
        bytes.remove_prefix(size);
    }
    for (const int orientation : {1, 6}) {
        source.orientation = io::Orientation::fromExif(orientation);
        for (const auto kind : {io::FileKind::exr, io::FileKind::dpx}) {
            source.kind = kind;
            io::PlateFile file;
            io::readCameraMetadata(source, file);
            fuzz::holds(!file.sensor_width_mm || *file.sensor_width_mm > 0, "sensors have a width");
            fuzz::holds(!file.focal_mm || std::isfinite(*file.focal_mm),
                        "focal lengths are finite");
            fuzz::holds(!file.focus_m || *file.focus_m > 0, "focus is above 0");
            fuzz::holds(!file.frame_rate || file.frame_rate->counting() > 0, "rates are above 0");
            (void)io::codeRangeOf(source);
        }
    }
}
