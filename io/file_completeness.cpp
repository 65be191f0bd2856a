#include "io/file_completeness.h"

#include <array>
#include <cerrno>
#include <cstdint>
#include <fstream>
#include <map>
#include <string>
#include <system_error>
#include <vector>

#include "io/input_error.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

[[noreturn]] void refuseDamaged(const fs::path& path, const std::string& where) {
    throw InputError(path.string(), "is damaged or cut short (" + where + "): copy the file again");
}

std::ifstream opened(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) throwIfNoMemory(path, std::generic_category().message(errno));
    return file;
}

uint32_t bigEndian(const unsigned char* bytes) {
    return uint32_t(bytes[0]) << 24 | uint32_t(bytes[1]) << 16 | uint32_t(bytes[2]) << 8 | bytes[3];
}

// The checksum of PNG chunks (PNG specification, annex D: polynomial 0xedb88320, reflected), eight
// bytes a step: table[k] is what a byte does k bytes later, and a sum is the sum of its parts.
using ChecksumTables = std::array<std::array<uint32_t, 256>, 8>;

ChecksumTables makeChecksumTables() {
    ChecksumTables tables{};
    for (uint32_t i = 0; i < 256; ++i) {
        uint32_t value = i;
        for (int bit = 0; bit < 8; ++bit) value = value >> 1 ^ (value & 1 ? 0xedb88320u : 0u);
        tables[0][i] = value;
    }
    for (size_t k = 1; k < tables.size(); ++k) {
        for (uint32_t i = 0; i < 256; ++i) {
            const uint32_t before = tables[k - 1][i];
            tables[k][i] = before >> 8 ^ tables[0][before & 0xff];
        }
    }
    return tables;
}

uint32_t addToChecksum(uint32_t checksum, const unsigned char* bytes, size_t count) {
    static const ChecksumTables t = makeChecksumTables();
    for (; count >= 8; count -= 8, bytes += 8) {
        checksum = t[7][(checksum ^ bytes[0]) & 0xff] ^ t[6][(checksum >> 8 ^ bytes[1]) & 0xff] ^
                   t[5][(checksum >> 16 ^ bytes[2]) & 0xff] ^ t[4][checksum >> 24 ^ bytes[3]] ^
                   t[3][bytes[4]] ^ t[2][bytes[5]] ^ t[1][bytes[6]] ^ t[0][bytes[7]];
    }
    for (; count; --count, ++bytes) checksum = checksum >> 8 ^ t[0][(checksum ^ *bytes) & 0xff];
    return checksum;
}

// Chunk after chunk to IEND: length, type, data, checksum of type and data.
void checkPng(const fs::path& path) {
    std::ifstream file = opened(path);
    file.seekg(8);  // the signature
    std::vector<unsigned char> data;
    for (;;) {
        std::array<unsigned char, 8> head{};
        if (!file.read(reinterpret_cast<char*>(head.data()), head.size())) {
            refuseDamaged(path, "it has no end");
        }
        const uint32_t length = bigEndian(head.data());
        const std::string type(reinterpret_cast<const char*>(head.data()) + 4, 4);
        uint32_t checksum = addToChecksum(~0u, head.data() + 4, 4);
        constexpr uint32_t kStep = 1u << 18;
        for (uint32_t done = 0; done < length;) {
            const uint32_t step = std::min(kStep, length - done);
            data.resize(step);
            if (!file.read(reinterpret_cast<char*>(data.data()), step)) {
                refuseDamaged(path, "it ends in the middle of the picture");
            }
            checksum = addToChecksum(checksum, data.data(), step);
            done += step;
        }
        std::array<unsigned char, 4> stored{};
        if (!file.read(reinterpret_cast<char*>(stored.data()), stored.size())) {
            refuseDamaged(path, "it ends in the middle of the picture");
        }
        if (bigEndian(stored.data()) != ~checksum) refuseDamaged(path, "a checksum is wrong");
        if (type == "IEND") return;
    }
}

// What a DPX header (SMPTE ST 268-1, tables 1 and 2) says of the bytes that follow it: those of the
// user, and those of the first image layout.
struct DpxLayout {
    uint32_t user_bytes, width, height, descriptor, bits, packing, encoding, offset;
};

DpxLayout readDpxLayout(const fs::path& path) {
    std::array<unsigned char, 820> header{};
    std::ifstream file = opened(path);
    if (!file.read(reinterpret_cast<char*>(header.data()), header.size())) {
        refuseDamaged(path, "its header is not whole");
    }
    const bool big_endian = header[0] == 'S';
    const auto word = [&](size_t at) {
        const unsigned char* b = header.data() + at;
        return big_endian
                   ? bigEndian(b)
                   : uint32_t(b[3]) << 24 | uint32_t(b[2]) << 16 | uint32_t(b[1]) << 8 | b[0];
    };
    const auto half_word = [&](size_t at) {
        const unsigned char* b = header.data() + at;
        return big_endian ? uint32_t(b[0]) << 8 | b[1] : uint32_t(b[1]) << 8 | b[0];
    };
    return {word(32),    word(772),      word(776),      header[800],
            header[803], half_word(804), half_word(806), word(808)};
}

uint64_t dpxComponents(uint32_t descriptor) {
    if (descriptor == 50) return 3;                      // R G B
    if (descriptor == 51 || descriptor == 52) return 4;  // R G B A, A B G R
    return 1;                                            // the least that any other one takes
}

void checkDpx(const fs::path& path) {
    const DpxLayout layout = readDpxLayout(path);
    // The user's own header lies before the picture; OpenImageIO believes any size of it.
    constexpr uint32_t kUndefined = 0xffffffffu;
    if (layout.user_bytes != kUndefined && layout.user_bytes > layout.offset) {
        refuseDamaged(path, "its header contradicts itself");
    }
    if (layout.encoding != 0) return;  // run lengths: the size is not known beforehand
    const uint64_t samples = uint64_t(layout.width) * dpxComponents(layout.descriptor);
    uint64_t row = 0;
    if (layout.packing != 0 && layout.bits == 10) {
        row = (samples + 2) / 3 * 4;  // three to a 32-bit word
    } else if (layout.packing != 0 && layout.bits == 12) {
        row = samples * 2;
    } else {
        row = samples * layout.bits / 8;
    }
    std::error_code error;
    const uintmax_t size = fs::file_size(path, error);
    if (!error && size < layout.offset + row * layout.height) {
        refuseDamaged(path, "it ends in the middle of the picture");
    }
}

uint32_t littleEndian(const char* bytes) {
    const auto* b = reinterpret_cast<const unsigned char*>(bytes);
    return uint32_t(b[3]) << 24 | uint32_t(b[2]) << 16 | uint32_t(b[1]) << 8 | b[0];
}

// Before OpenEXR's library finds that a file ends, it asks for as much memory as the header says:
// an attribute's size, and an offset of 8 bytes for each chunk of the picture, neither of which is
// more than the file holds; and room for a chunk, rows or a tile ("OpenEXR File Layout",
// openexr.com).
class ExrHeaders {
public:
    explicit ExrHeaders(const fs::path& path) : path_(path), file_(opened(path)) {
        std::error_code error;
        length_ = fs::file_size(path, error);
        if (error) length_ = 0;
    }

    void check() {
        constexpr uint32_t kMultiPart = 0x1000;
        const bool several = littleEndian(bytes(8).data() + 4) & kMultiPart;
        std::string name = text();
        do {
            Part part;
            for (; !name.empty(); name = text()) readAttribute(name, part);
            if (offsetBytes(part) > double(length_) || chunkBytes(part) > kMostChunkBytes)
                refuseDamaged(path_, "its header says more than the file holds");
            if (several) name = text();  // the next part's first; none after the last
        } while (!name.empty());
    }

private:
    struct Part {
        int64_t width = 0, height = 0, tile_width = 0, tile_height = 0, chunk_rows = 1;
        int64_t pixel_bytes = 0;
    };
    // More than 256 rows, the most that are compressed together, of 100,000 RGBA floats.
    static constexpr double kMostChunkBytes = 512e6;

    std::string bytes(size_t count) {
        std::string read(count, '\0');
        if (!file_.read(read.data(), std::streamsize(count))) refuseDamaged(path_, kNotWhole);
        return read;
    }

    std::string text() {
        std::string read;
        if (!std::getline(file_, read, '\0') || file_.eof()) refuseDamaged(path_, kNotWhole);
        return read;
    }

    void readAttribute(const std::string& name, Part& part) {
        const std::string type = text();
        const uint64_t size = littleEndian(bytes(4).data()), at = uint64_t(file_.tellg());
        if (size > length_ || at > length_ - size) refuseDamaged(path_, kNotWhole);
        // The library reads what the type takes, whatever the size says, and goes on from there.
        if (type == "chlist") {
            constexpr size_t kChannel = 16;
            constexpr uint32_t kHalf = 1, kTypes = 3;
            while (!text().empty()) {
                const uint32_t sample = littleEndian(bytes(kChannel).data());
                // OpenImageIO ends the program at a type that there is not.
                if (sample >= kTypes) refuseDamaged(path_, "a channel's samples are of no type");
                part.pixel_bytes += sample == kHalf ? 2 : 4;
            }
            if (uint64_t(file_.tellg()) != at + size) refuseDamaged(path_, kNotWhole);
        } else if (type == "preview") {
            const std::string edges = size >= 8 ? bytes(8) : std::string(8, '\0');
            const uint64_t pixels =
                uint64_t(littleEndian(edges.data())) * littleEndian(edges.data() + 4);
            if (size < 8 || pixels != (size - 8) / 4) refuseDamaged(path_, kNotWhole);
        } else if (const auto known = kSizes.find(type);
                   known != kSizes.end() && size != known->second) {
            refuseDamaged(path_, kNotWhole);
        } else if (name == "dataWindow" && type == "box2i") {
            const std::string box = bytes(16);
            const auto corner = [&](size_t k) {
                return int64_t(int32_t(littleEndian(&box[4 * k])));
            };
            part.width = corner(2) - corner(0) + 1;
            part.height = corner(3) - corner(1) + 1;
        } else if (name == "tiles" && type == "tiledesc") {
            const std::string tile = bytes(8);
            part.tile_width = littleEndian(tile.data());
            part.tile_height = littleEndian(tile.data() + 4);
        } else if (name == "compression" && type == "compression") {
            // None, RLE, ZIPS, ZIP, PIZ, PXR24, B44, B44A, DWAA, DWAB.
            constexpr std::array<int, 10> kRows{1, 1, 1, 16, 32, 16, 32, 32, 32, 256};
            const auto method = uint8_t(bytes(1)[0]);
            if (method < kRows.size()) part.chunk_rows = kRows[method];
        }
        file_.seekg(std::streamoff(at + size));
    }

    // Of a part's table of offsets, without the smaller levels of tiles.
    static double offsetBytes(const Part& part) {
        if (part.width < 1 || part.height < 1) return 0;
        const auto parts = [](int64_t whole, int64_t size) {
            return double((whole + size - 1) / size);
        };
        if (part.tile_width < 1 || part.tile_height < 1)
            return 8 * parts(part.height, part.chunk_rows);
        return 8 * parts(part.width, part.tile_width) * parts(part.height, part.tile_height);
    }

    static double chunkBytes(const Part& part) {
        const bool tiled = part.tile_width > 0 && part.tile_height > 0;
        return double(part.pixel_bytes) * double(tiled ? part.tile_width : part.width) *
               double(tiled ? part.tile_height : part.chunk_rows);
    }

    // Of the types whose size is fixed, in bytes.
    static inline const std::map<std::string, uint64_t> kSizes{
        {"box2i", 16},      {"box2f", 16},   {"chromaticities", 32},
        {"compression", 1}, {"double", 8},   {"envmap", 1},
        {"float", 4},       {"int", 4},      {"keycode", 28},
        {"lineOrder", 1},   {"m33f", 36},    {"m44f", 64},
        {"m33d", 72},       {"m44d", 128},   {"rational", 8},
        {"tiledesc", 9},    {"timecode", 8}, {"v2i", 8},
        {"v2f", 8},         {"v2d", 16},     {"v3i", 12},
        {"v3f", 12},        {"v3d", 24},     {"deepImageState", 1}};
    static constexpr const char* kNotWhole = "its header is not whole";
    const fs::path& path_;
    std::ifstream file_;
    uint64_t length_ = 0;
};

}  // namespace

void checkComplete(const fs::path& path, FileKind kind) {
    if (kind == FileKind::png) checkPng(path);
    if (kind == FileKind::dpx) checkDpx(path);
    if (kind == FileKind::exr) ExrHeaders(path).check();
}

}  // namespace plateloom::io
