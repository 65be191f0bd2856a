#include "io/made_mark.h"

#include <OpenImageIO/hash.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <optional>
#include <string_view>
#include <system_error>
#include <vector>

#include "io/input_error.h"

namespace plateloom::io {

namespace {

constexpr std::string_view kWord = "plateloom-made:";
constexpr size_t kDigits = 16, kLongestKind = 16;
constexpr size_t kLongestMark = kWord.size() + kLongestKind + 1 + kDigits;
constexpr size_t kBlock = size_t(1) << 20;

constexpr std::array kNames{"panorama",   "flat-plate", "frame", "view",  "map",
                            "preview",    "sheet",      "solve", "seams", "shake",
                            "lens-table", "plan",       "page"};
static_assert(kNames.size() == size_t(Made::page) + 1);

// Bytes that are not the file's own content: the digest counts them as zeros.
struct Hole {
    off_t at = 0;
    size_t size = 0;
};

struct FoundMark {
    std::string kind;
    off_t digits_at = 0;
    std::string digits;
    std::vector<Hole> holes;
    /// Of a PNG, whose chunks have a checksum: the chunk that the mark is in.
    std::optional<Hole> chunk;
};

[[noreturn]] void throwErrno(int error) {
    throw std::system_error(error, std::generic_category());
}

// Reads to the end of `size` or of the file.
size_t readAt(int file, char* to, size_t size, off_t at) {
    size_t done = 0;
    while (done < size) {
        const ssize_t count = ::pread(file, to + done, size - done, at + off_t(done));
        if (count < 0 && errno == EINTR) continue;
        if (count < 0) throwErrno(errno);
        if (count == 0) break;
        done += size_t(count);
    }
    return done;
}

void writeAt(int file, const char* from, size_t size, off_t at) {
    while (size > 0) {
        const ssize_t count = ::pwrite(file, from, size, at);
        if (count < 0 && errno == EINTR) continue;
        if (count <= 0) throwErrno(count == 0 ? ENOSPC : errno);
        from += count;
        at += off_t(count);
        size -= size_t(count);
    }
}

// The mark that begins at the word.
std::optional<FoundMark> parseMark(std::string_view text, off_t at) {
    const size_t begin = kWord.size();
    const size_t colon = text.find(':', begin);
    if (colon == std::string_view::npos || colon - begin > kLongestKind) return std::nullopt;
    const std::string_view digits = text.substr(colon + 1, kDigits);
    if (digits.size() < kDigits ||
        digits.find_first_not_of("0123456789abcdef") != std::string_view::npos)
        return std::nullopt;
    FoundMark mark;
    mark.kind = text.substr(begin, colon - begin);
    mark.digits_at = at + off_t(colon + 1);
    mark.digits = digits;
    mark.holes.push_back({mark.digits_at, kDigits});
    return mark;
}

// PNG (ISO/IEC 15948, section 5.3): chunks of length, type, data and a checksum of the last two.
bool addPngChecksum(int file, FoundMark* mark) {
    constexpr std::string_view kSignature = "\x89PNG\r\n\x1a\n";
    char head[8];
    if (readAt(file, head, 8, 0) != 8 || std::string_view(head, 8) != kSignature) return true;
    for (off_t at = 8;;) {
        if (readAt(file, head, 8, at) != 8) return false;
        size_t length = 0;
        for (int i = 0; i < 4; ++i) length = length << 8 | static_cast<unsigned char>(head[i]);
        const off_t end = at + 8 + off_t(length);
        if (mark->digits_at < end) {
            mark->chunk = Hole{at + 4, length + 4};
            mark->holes.push_back({end, 4});
            return true;
        }
        at = end + 4;
    }
}

std::optional<FoundMark> findMark(int file) {
    std::vector<char> block(kBlock + kLongestMark);
    for (off_t at = 0;; at += off_t(kBlock)) {
        const size_t size = readAt(file, block.data(), block.size(), at);
        const std::string_view text(block.data(), size);
        for (size_t found = text.find(kWord); found != std::string_view::npos && found < kBlock;
             found = text.find(kWord, found + 1)) {
            auto mark = parseMark(text.substr(found, kLongestMark), at + off_t(found));
            if (!mark) continue;
            return addPngChecksum(file, &*mark) ? mark : std::nullopt;
        }
        if (size <= kBlock) return std::nullopt;
    }
}

std::string digestOf(int file, const std::vector<Hole>& holes) {
    std::vector<char> block(kBlock);
    unsigned long long digest = 0;
    for (off_t at = 0;; at += off_t(kBlock)) {
        const size_t size = readAt(file, block.data(), kBlock, at);
        for (const Hole& hole : holes) {
            const off_t from = std::max(hole.at, at);
            const off_t to = std::min(hole.at + off_t(hole.size), at + off_t(size));
            if (from < to) std::fill(&block[size_t(from - at)], block.data() + (to - at), '\0');
        }
        digest = OIIO::xxhash::XXH64(block.data(), size, digest);
        if (size < kBlock) break;
    }
    char text[kDigits + 1];
    std::snprintf(text, sizeof text, "%016llx", digest);
    return text;
}

// PNG, annex D.
uint32_t crc32(std::string_view bytes) {
    uint32_t crc = 0xffffffffu;
    for (const char byte : bytes) {
        crc ^= static_cast<unsigned char>(byte);
        for (int bit = 0; bit < 8; ++bit) crc = crc & 1 ? crc >> 1 ^ 0xedb88320u : crc >> 1;
    }
    return ~crc;
}

void sealChunk(int file, const Hole& chunk) {
    std::string bytes(chunk.size, '\0');
    readAt(file, bytes.data(), bytes.size(), chunk.at);
    const uint32_t crc = crc32(bytes);
    const char big_endian[4] = {char(crc >> 24), char(crc >> 16), char(crc >> 8), char(crc)};
    writeAt(file, big_endian, 4, chunk.at + off_t(chunk.size));
}

}  // namespace

std::string openMark(Made kind) {
    return std::string(kWord) + kNames[size_t(kind)] + ":" + std::string(kDigits, '0');
}

std::optional<Made> markedKind(const std::string& text) {
    const size_t at = text.find(kWord);
    if (at == std::string::npos) return std::nullopt;
    const size_t begin = at + kWord.size();
    const std::string name = text.substr(begin, text.find(':', begin) - begin);
    for (size_t kind = 0; kind < kNames.size(); ++kind)
        if (name == kNames[kind]) return Made(kind);
    return std::nullopt;
}

int sealMark(int file) {
    try {
        const auto mark = findMark(file);
        if (!mark) return 0;
        const std::string digest = digestOf(file, mark->holes);
        writeAt(file, digest.data(), digest.size(), mark->digits_at);
        if (mark->chunk) sealChunk(file, *mark->chunk);
        return 0;
    } catch (const std::system_error& error) {
        return error.code().value();
    }
}

Standing standingOf(const std::filesystem::path& path, Made kind) {
    // A pipe would wait for its writer: O_NONBLOCK.
    const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0 && errno == ENOENT) return Standing::absent;
    try {
        if (file < 0) throwErrno(errno);
        struct stat status {};
        Standing standing = Standing::foreign;
        if (::fstat(file, &status) == 0 && S_ISREG(status.st_mode)) {
            const auto mark = findMark(file);
            if (mark && mark->kind == kNames[size_t(kind)])
                standing = digestOf(file, mark->holes) == mark->digits ? Standing::ours
                                                                       : Standing::changed;
        }
        ::close(file);
        return standing;
    } catch (const std::system_error& error) {
        if (file >= 0) ::close(file);
        throw InputError(path.string(),
                         "exists, but can't be read to see whether it may be replaced (" +
                             error.code().message() + ")");
    }
}

}  // namespace plateloom::io
