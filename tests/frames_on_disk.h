// Recorded frames of a light that is known everywhere on the sensor, with their lens, on disk.
#pragma once

#include <OpenImageIO/imageio.h>

#include <cmath>
#include <filesystem>
#include <string>
#include <vector>

#include "calib/lens.h"

namespace plateloom::test {

/// Smooth light of 12 pixels a period and more, with values below 0 and above 1.
inline double lightAt(double x, double y, int channel) {
    return 1.0 + 0.9 * std::sin(0.52 * x + 0.11 * y + channel) +
           0.6 * std::cos(0.07 * x - 0.45 * y + 2 * channel) * (channel == 2 ? 1.4 : 1);
}

/// The lens that these frames are bent and shaded by, and the line of a CSV track that says so.
inline calib::Lens frameLens(double pull = 0) {
    calib::Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial = {1.2e-4 + 2e-5 * pull, 0, 4e-8, 0, 0, 0};
    lens.distortion.tangential = {2e-5, -1e-5};
    lens.distortion_offset_mm = {0.1, -0.05};
    lens.shading = {6e-4 + 1e-4 * pull, 2e-7, 0};
    return lens;
}

inline const char* kTrackHead =
    "timecode,fps,frame,focal_mm,sensor_width_mm,k1,k3,p1,p2,distortion_x_mm,distortion_y_mm,a1,"
    "a2\n";
inline std::string trackLine(const std::string& timecode, int frame, double pull) {
    const auto lens = frameLens(pull);
    char text[400];
    std::snprintf(
        text, sizeof text, "%s,24,%d,24,36,%.12g,%.12g,%.12g,%.12g,%.12g,%.12g,%.12g,%.12g\n",
        timecode.c_str(), frame, lens.distortion.radial[0], lens.distortion.radial[2],
        lens.distortion.tangential[0], lens.distortion.tangential[1], lens.distortion_offset_mm.x(),
        lens.distortion_offset_mm.y(), lens.shading.a1, lens.shading.a2);
    return text;
}

/// Floats of a file, its data window, all channels.
struct ReadFrame {
    OIIO::ImageSpec spec;
    std::vector<float> data;
    [[nodiscard]] float at(int x, int y, int channel) const {
        return data[(size_t(y - spec.y) * spec.width + size_t(x - spec.x)) * spec.nchannels +
                    channel];
    }
    [[nodiscard]] int channel(const std::string& name) const { return spec.channelindex(name); }
};

inline ReadFrame readFrame(const std::filesystem::path& path, int part = 0) {
    ReadFrame frame;
    const auto input = OIIO::ImageInput::open(path.string());
    if (!input || !input->seek_subimage(part, 0)) return frame;
    frame.spec = input->spec(part);
    frame.data.resize(size_t(frame.spec.width) * frame.spec.height * frame.spec.nchannels);
    input->read_image(part, 0, 0, frame.spec.nchannels, OIIO::TypeFloat, frame.data.data());
    return frame;
}

/// Bit for bit the same pixels, windows and attributes in all parts, but for the time of writing.
inline bool samePicture(const std::filesystem::path& a, const std::filesystem::path& b) {
    const auto one = OIIO::ImageInput::open(a.string()), other = OIIO::ImageInput::open(b.string());
    if (!one || !other) return false;
    int part = 0;
    for (; one->seek_subimage(part, 0); ++part) {
        if (!other->seek_subimage(part, 0)) return false;
        OIIO::ImageSpec spec_a = one->spec(part), spec_b = other->spec(part);
        for (OIIO::ImageSpec* spec : {&spec_a, &spec_b}) spec->erase_attribute("DateTime");
        if (spec_a.to_xml() != spec_b.to_xml()) return false;
        std::vector<char> pixels_a(spec_a.image_bytes(true)), pixels_b(pixels_a.size());
        if (!one->read_image(part, 0, 0, spec_a.nchannels, OIIO::TypeUnknown, pixels_a.data()) ||
            !other->read_image(part, 0, 0, spec_a.nchannels, OIIO::TypeUnknown, pixels_b.data()) ||
            pixels_a != pixels_b)
            return false;
    }
    return part > 0 && !other->seek_subimage(part, 0);
}

/// An EXR of float channels, each of its own function of pixel centres.
template <class Value>
void writeFrame(const std::filesystem::path& path, OIIO::ImageSpec spec, const Value& value) {
    std::vector<float> data(size_t(spec.width) * spec.height * spec.nchannels);
    for (int y = 0; y < spec.height; ++y)
        for (int x = 0; x < spec.width; ++x)
            for (int c = 0; c < spec.nchannels; ++c)
                data[(size_t(y) * spec.width + x) * spec.nchannels + c] =
                    float(value(x + spec.x + 0.5, y + spec.y + 0.5, c));
    const auto output = OIIO::ImageOutput::create(path.string());
    output->open(path.string(), spec);
    output->write_image(OIIO::TypeFloat, data.data());
    output->close();
}

inline OIIO::ImageSpec rgbaSpec(int width, int height) {
    OIIO::ImageSpec spec(width, height, 4, OIIO::TypeFloat);
    spec.attribute("compression", "none");
    return spec;
}

}  // namespace plateloom::test
