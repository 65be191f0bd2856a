// OpenEXR files put together byte by byte after "OpenEXR File Layout" (openexr.com), uncompressed,
// so that what a reader makes of windows, channels and attributes is checked against the format
// itself and not against a writer of the same library.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>
#include <string>
#include <vector>

namespace plateloom::raw_exr {

enum class SampleType : int32_t { uint = 0, half = 1, real = 2 };

struct Box {
    int32_t x_min, y_min, x_max, y_max;  // inclusive, as in the file
};

using Bytes = std::string;

template <typename Value>
Bytes bytesOf(const Value& value) {
    Bytes bytes(sizeof(Value), '\0');
    std::memcpy(bytes.data(), &value, sizeof(Value));
    return bytes;
}
template <typename Value, typename... More>
Bytes bytesOf(const Value& value, const More&... more) {
    return bytesOf(value) + bytesOf(more...);
}

inline Bytes attribute(const std::string& name, const std::string& type, const Bytes& value) {
    return name + '\0' + type + '\0' + bytesOf(int32_t(value.size())) + value;
}

struct Channel {
    std::string name;
    SampleType type = SampleType::half;
    /// Bits of the sample at (x, y): a half's, a float's or the integer itself.
    std::function<uint32_t(int x, int y)> bits;
    int32_t sampling = 1;
};

struct Part {
    Box data{0, 0, 3, 2}, display{0, 0, 3, 2};
    std::vector<Channel> channels;
    std::vector<Bytes> attributes;
    std::string name;  // only for multi-part files
};

namespace inside {

inline Bytes header(const Part& part, bool multi_part) {
    Bytes list;
    for (const Channel& channel : part.channels) {
        list += channel.name + '\0' +
                bytesOf(int32_t(channel.type), int32_t(0), channel.sampling, channel.sampling);
    }
    list += '\0';
    const auto box = [](const Box& b) { return bytesOf(b.x_min, b.y_min, b.x_max, b.y_max); };
    Bytes out = attribute("channels", "chlist", list) +
                attribute("compression", "compression", bytesOf(uint8_t(0))) +
                attribute("dataWindow", "box2i", box(part.data)) +
                attribute("displayWindow", "box2i", box(part.display)) +
                attribute("lineOrder", "lineOrder", bytesOf(uint8_t(0))) +
                attribute("pixelAspectRatio", "float", bytesOf(1.0f)) +
                attribute("screenWindowCenter", "v2f", bytesOf(0.0f, 0.0f)) +
                attribute("screenWindowWidth", "float", bytesOf(1.0f));
    if (multi_part) {
        out += attribute("name", "string", part.name) +
               attribute("type", "string", "scanlineimage") +
               attribute("chunkCount", "int", bytesOf(part.data.y_max - part.data.y_min + 1));
    }
    for (const Bytes& extra : part.attributes) out += extra;
    return out + '\0';
}

inline Bytes row(const Part& part, int y) {
    Bytes out;
    for (const Channel& channel : part.channels) {
        if (y % channel.sampling) continue;
        for (int x = part.data.x_min; x <= part.data.x_max; ++x) {
            if (x % channel.sampling) continue;
            const uint32_t bits = channel.bits(x, y);
            out += channel.type == SampleType::half ? bytesOf(uint16_t(bits)) : bytesOf(bits);
        }
    }
    return out;
}

}  // namespace inside

inline void write(const std::filesystem::path& path, std::vector<Part> parts) {
    const bool multi_part = parts.size() > 1;
    Bytes file = bytesOf(int32_t(20000630), int32_t(multi_part ? 0x1002 : 2));
    for (Part& part : parts) {
        std::sort(part.channels.begin(), part.channels.end(),
                  [](const Channel& a, const Channel& b) { return a.name < b.name; });
        file += inside::header(part, multi_part);
    }
    if (multi_part) file += '\0';

    size_t rows = 0;
    for (const Part& part : parts) rows += size_t(part.data.y_max - part.data.y_min + 1);
    Bytes offsets, chunks;
    const size_t first = file.size() + 8 * rows;
    for (size_t p = 0; p < parts.size(); ++p) {
        for (int y = parts[p].data.y_min; y <= parts[p].data.y_max; ++y) {
            offsets += bytesOf(uint64_t(first + chunks.size()));
            const Bytes samples = inside::row(parts[p], y);
            if (multi_part) chunks += bytesOf(int32_t(p));
            chunks += bytesOf(int32_t(y), int32_t(samples.size())) + samples;
        }
    }
    file += offsets + chunks;
    std::ofstream(path, std::ios::binary).write(file.data(), std::streamsize(file.size()));
}

}  // namespace plateloom::raw_exr
