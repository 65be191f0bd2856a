// Small QuickTime and MP4 movies for tests: one whose frames lean on later ones, and one whose
// frames stand for themselves, box by box (ISO/IEC 14496-12; ISO/IEC 14496-14 for the names).
#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>

namespace plateloom::test {

/// H.264, 64 x 36, 24 frames a second, grey: luma 40 + 12 n in frame n, counted from 0. Of its 12
/// frames the decoder still holds the last two when the file ends. Encoded by x264.
constexpr int kLeaningFrames = 12, kLeaningLost = 2;
constexpr const char* kLeaningMovie =
    "AAAAIGZ0eXBpc29tAAACAGlzb21pc28yYXZjMW1wNDEAAAOebW9vdgAAAGxtdmhkAAAAAAAAAAAAAAAAAAAD6AAA"
    "AfQAAQAAAQAAAAAAAAAAAAAAAAEAAAAAAAAAAAAAAAAAAAABAAAAAAAAAAAAAAAAAABAAAAAAAAAAAAAAAAAAAAA"
    "AAAAAAAAAAAAAAAAAAAAAgAAAu10cmFrAAAAXHRraGQAAAADAAAAAAAAAAAAAAABAAAAAAAAAfQAAAAAAAAAAAAA"
    "AAAAAAAAAAEAAAAAAAAAAAAAAAAAAAABAAAAAAAAAAAAAAAAAABAAAAAAEAAAAAkAAAAAAAkZWR0cwAAABxlbHN0"
    "AAAAAAAAAAEAAAH0AAAEAAABAAAAAAJlbWRpYQAAACBtZGhkAAAAAAAAAAAAAAAAAAAwAAAAGABVxAAAAAAALWhk"
    "bHIAAAAAAAAAAHZpZGUAAAAAAAAAAAAAAABWaWRlb0hhbmRsZXIAAAACEG1pbmYAAAAUdm1oZAAAAAEAAAAAAAAA"
    "AAAAACRkaW5mAAAAHGRyZWYAAAAAAAAAAQAAAAx1cmwgAAAAAQAAAdBzdGJsAAAAwHN0c2QAAAAAAAAAAQAAALBh"
    "dmMxAAAAAAAAAAEAAAAAAAAAAAAAAAAAAAAAAEAAJABIAAAASAAAAAAAAAABDExhdmMgbGlieDI2NAAAAAAAAAAA"
    "AAAAAAAAAAAAAAAAGP//AAAANmF2Y0MBZAAK/+EAGWdkAAqs2UR/nwEQAAADABAAAAMDAPEiWWABAAZo6+BDLIv9"
    "+PgAAAAAEHBhc3AAAAABAAAAAQAAABRidHJ0AAAAAAAADHAAAAxwAAAAGHN0dHMAAAAAAAAAAQAAAAwAAAIAAAAA"
    "FHN0c3MAAAAAAAAAAQAAAAEAAABoY3R0cwAAAAAAAAALAAAAAQAABAAAAAABAAAKAAAAAAEAAAQAAAAAAQAAAAAA"
    "AAABAAACAAAAAAEAAAoAAAAAAQAABAAAAAABAAAAAAAAAAEAAAIAAAAAAQAACAAAAAACAAACAAAAABxzdHNjAAAA"
    "AAAAAAEAAAABAAAADAAAAAEAAABEc3RzegAAAAAAAAAAAAAADAAAACEAAAARAAAACwAAAAwAAAAMAAAAGgAAAA0A"
    "AAAMAAAADAAAABoAAAANAAAADAAAABRzdGNvAAAAAAAAAAEAAAPOAAAAPXVkdGEAAAA1bWV0YQAAAAAAAAAhaGRs"
    "cgAAAAAAAAAAbWRpcmFwcGwAAAAAAAAAAAAAAAAIaWxzdAAAAAhmcmVlAAAAz21kYXQAAAAdZYiEAOv+94G/MstI"
    "dCslx+ed8UPyh0qwairOsMEAAAANQZokY+B+AxGv/qfuQAAAAAdBnkJ4pQ65AAAACAGeYXRIvxEwAAAACAGeY2pI"
    "vxExAAAAFkGaaEuoQhBaIfA/AYkD8BgANf6n7kEAAAAJQZ6GRREtLw65AAAACAGepXRIvxExAAAACAGep2pIvxEw"
    "AAAAFkGaq0uoQhBbIfA/ATED8BKANf6n7kAAAAAJQZ7JRRUtLw65AAAACAGe6mpIvxEw";

inline std::string fromBase64(const std::string& text) {
    const std::string digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string out;
    uint32_t bits = 0;
    int count = 0;
    for (const char digit : text) {
        if (digit == '=') break;
        bits = bits << 6 | uint32_t(digits.find(digit));
        if ((count += 6) < 8) continue;
        count -= 8;
        out += char(bits >> count & 0xff);
    }
    return out;
}

inline void writeLeaningMovie(const std::filesystem::path& path) {
    std::ofstream(path, std::ios::binary) << fromBase64(kLeaningMovie);
}

/// An edit list of one entry: from which of the picture's ticks, how many frames.
struct Edit {
    int from = 0, frames = 0;
};

/// Uncompressed RGB in a QuickTime file, the index before the frames. Every frame is one grey,
/// 8 n + 20 in frame n, counted from 0. A negative number of edit frames: no edit list.
inline std::string standingMovie(int width, int height, int frames, Edit edit = {0, -1}) {
    const auto number = [](uint64_t v, int bytes = 4) {
        std::string out;
        for (int i = bytes - 1; i >= 0; --i) out += char(v >> (8 * i) & 0xff);
        return out;
    };
    const auto zeros = [](int bytes) { return std::string(size_t(bytes), '\0'); };
    const auto box = [&](const std::string& type, const std::string& data) {
        return number(8 + data.size()) + type + data;
    };
    constexpr int kRate = 24;
    const int bytes = width * height * 3;
    const std::string matrix =
        number(0x10000) + zeros(12) + number(0x10000) + zeros(12) + number(0x40000000);
    const std::string length = number(kRate) + number(frames);
    const std::string entry = number(0) + number(1) + zeros(16) + number(width, 2) +
                              number(height, 2) + number(0x480000) + number(0x480000) + zeros(4) +
                              number(1, 2) + zeros(32) + number(24, 2) + number(0xffff, 2);
    const std::string type = box("ftyp", "qt  " + zeros(4) + "qt  ");
    const auto movieWithFramesAt = [&](size_t at) {
        const std::string table = box(
            "stbl", box("stsd", zeros(4) + number(1) + box("raw ", entry)) +
                        box("stts", zeros(4) + number(1) + number(frames) + number(1)) +
                        box("stsc", zeros(4) + number(1) + number(1) + number(frames) + number(1)) +
                        box("stsz", zeros(4) + number(bytes) + number(frames)) +
                        box("stco", zeros(4) + number(1) + number(at)));
        const std::string media =
            box("mdia", box("mdhd", zeros(12) + length + zeros(4)) +
                            box("hdlr", zeros(4) + "mhlrvide" + zeros(13)) +
                            box("minf", box("vmhd", number(1) + zeros(8)) +
                                            box("dinf", box("dref", zeros(4) + number(1) +
                                                                        box("url ", number(1)))) +
                                            table));
        const std::string edits =
            edit.frames < 0 ? ""
                            : box("edts", box("elst", zeros(4) + number(1) + number(edit.frames) +
                                                          number(edit.from) + number(0x10000)));
        const std::string track =
            box("tkhd", number(7) + zeros(8) + number(1) + zeros(4) + number(frames) + zeros(16) +
                            matrix + number(width, 4) + number(height, 4));
        return box("moov", box("mvhd", zeros(12) + length + number(0x10000) + zeros(12) + matrix +
                                           zeros(24) + number(2)) +
                               box("trak", track + edits + media));
    };
    std::string pixels;
    for (int frame = 0; frame < frames; ++frame)
        pixels += std::string(size_t(bytes), char(8 * frame + 20));
    const size_t head = type.size() + movieWithFramesAt(0).size() + 8;
    return type + movieWithFramesAt(head) + box("mdat", pixels);
}

}  // namespace plateloom::test
