// Small clips on disk for tests: numbered EXR frames with timecodes, and a movie, whose pixels tell
// which frame they are.
#pragma once

#include <OpenImageIO/imageio.h>

#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <optional>
#include <string>
#include <vector>

#include "io/plate_file.h"
#include "io/timecode.h"

namespace plateloom::test {

struct ClipOnDisk {
    int width = 32, height = 18;
    std::optional<io::FrameRate> rate = io::FrameRate{24, 1};
    std::optional<io::Timecode> start = io::Timecode{1, 0, 0, 0, false};  ///< of frame `first`
    int64_t first = 1001;
    std::string camera;                    ///< the header's camera make
    std::optional<float> focus_m, t_stop;  ///< in the header
};

/// A grey EXR frame; its timecode is that of the frame's number, moved by `late` frames.
inline void writeClipFrame(const std::filesystem::path& path, const ClipOnDisk& clip,
                           int64_t number, float light, int64_t late = 0) {
    OIIO::ImageSpec spec(clip.width, clip.height, 3, OIIO::TypeHalf);
    spec.attribute("compression", "none");
    if (!clip.camera.empty()) spec.attribute("cameraMake", clip.camera);
    if (clip.focus_m) spec.attribute("focus", *clip.focus_m);
    if (clip.t_stop) spec.attribute("tStop", *clip.t_stop);
    if (clip.rate) {
        const int fraction[2] = {clip.rate->num, clip.rate->denom};
        spec.attribute("FramesPerSecond", OIIO::TypeRational, fraction);
    }
    if (clip.start) {
        const io::FrameRate rate = clip.rate.value_or(io::FrameRate{24, 1});
        const auto timecode =
            io::timecodeOf(io::frameNumber(*clip.start, rate) + number - clip.first + late, rate,
                           clip.start->drop_frame);
        const unsigned words[2] = {io::smpteWord(timecode, clip.rate), 0};
        spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    }
    const std::vector<float> data(size_t(clip.width) * clip.height * 3, light);
    const auto output = OIIO::ImageOutput::create(path.string());
    output->open(path.string(), spec);
    output->write_image(OIIO::TypeFloat, data.data());
    output->close();
}

/// Frames [first, last] of `name.####.exr` in a folder, each with a light of its own.
inline void writeClip(const std::filesystem::path& folder, const std::string& name,
                      const ClipOnDisk& clip, int64_t first, int64_t last) {
    std::filesystem::create_directories(folder);
    for (int64_t number = first; number <= last; ++number)
        writeClipFrame(io::framePath((folder / (name + ".####.exr")).string(), number), clip,
                       number, 0.1f + 0.001f * float(number % 500));
}

/// An uncompressed AVI (Microsoft's RIFF layout: LIST hdrl, INFO, movi, idx1), 24-bit, rows upward.
/// `value(frame, x, y, channel)` is the code value of R, G, B; frames from 0.
template <class Value>
void writeMovie(const std::filesystem::path& path, int width, int height, int frames,
                io::FrameRate rate, const std::string& timecode, const Value& value) {
    const auto number = [](uint32_t v, int bytes = 4) {
        std::string out;
        for (int i = 0; i < bytes; ++i) out += char(v >> (8 * i) & 0xff);
        return out;
    };
    const auto chunk = [&](const std::string& id, std::string data) {
        std::string out = id + number(uint32_t(data.size())) + data;
        return data.size() % 2 ? out + '\0' : out;
    };
    const auto list = [&](const std::string& type, const std::string& data) {
        return chunk("LIST", type + data);
    };
    const uint32_t bytes = uint32_t(width) * height * 3, count = uint32_t(frames);
    const std::string rest(16, '\0');
    const std::string main_header = number(uint32_t(1e6 * rate.denom / rate.num)) +
                                    number(bytes * 25) + number(0) + number(0x10) + number(count) +
                                    number(0) + number(1) + number(bytes) + number(width) +
                                    number(height) + rest;
    const std::string stream_header = "vidsDIB " + number(0) + number(0) + number(0) +
                                      number(rate.denom) + number(rate.num) + number(0) +
                                      number(count) + number(bytes) + number(0xffffffff) +
                                      number(0) + number(0) + number(width, 2) + number(height, 2);
    const std::string format = number(40) + number(width) + number(height) + number(1, 2) +
                               number(24, 2) + number(0) + number(bytes) + rest;
    std::string movie, index;
    for (int frame = 0; frame < frames; ++frame) {
        std::string pixels;
        for (int y = height - 1; y >= 0; --y)
            for (int x = 0; x < width; ++x)
                for (int c = 2; c >= 0; --c) pixels += char(value(frame, x, y, c));
        index += "00db" + number(0x10) + number(uint32_t(4 + movie.size())) + number(bytes);
        movie += chunk("00db", pixels);
    }
    std::string body =
        "AVI " +
        list("hdrl", chunk("avih", main_header) +
                         list("strl", chunk("strh", stream_header) + chunk("strf", format)));
    if (!timecode.empty()) body += list("INFO", chunk("ISMP", timecode + '\0'));
    body += list("movi", movie) + chunk("idx1", index);
    std::ofstream(path, std::ios::binary) << chunk("RIFF", body);
}

/// What light the movie's frame is made of: code values that no two frames share.
inline int movieCode(int frame, int x, int y, int channel) {
    return (17 * frame + 2 * x + 3 * y + 40 * channel) % 256;
}

}  // namespace plateloom::test
