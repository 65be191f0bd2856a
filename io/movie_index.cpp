#include "io/movie_index.h"

#include <algorithm>
#include <cstdint>
#include <fstream>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// Where a box's content lies in the file.
struct Box {
    std::string type;
    uint64_t begin = 0, end = 0;
};

// Big-endian numbers and boxes; what lies outside the file, or a box outside the one that holds it,
// makes it not whole for good.
class BoxReader {
public:
    explicit BoxReader(const fs::path& path) : file_(path, std::ios::binary) {
        std::error_code error;
        size_ = fs::file_size(path, error);
        whole_ = file_ && !error;
    }

    [[nodiscard]] bool whole() const { return whole_; }
    [[nodiscard]] Box file() const { return {"", 0, whole_ ? size_ : 0}; }

    uint64_t number(uint64_t at, int bytes) {
        uint64_t value = 0;
        for (const char byte : text(at, bytes)) value = value << 8 | uint8_t(byte);
        return value;
    }

    std::string text(uint64_t at, int bytes) {
        std::string read(size_t(bytes), '\0');
        file_.clear();
        file_.seekg(std::streamoff(at));
        if (!file_.read(read.data(), bytes)) whole_ = false;
        return read;
    }

    std::vector<Box> boxesIn(const Box& outer) {
        std::vector<Box> boxes;
        for (uint64_t at = outer.begin; whole_ && at < outer.end;) {
            uint64_t size = number(at, 4), head = 8;
            const std::string type = text(at + 4, 4);
            if (size == 0) size = outer.end - at;  // to the end
            if (size == 1) {
                size = number(at + 8, 8);
                head = 16;
            }
            if (size < head || size > outer.end - at) whole_ = false;
            if (!whole_) break;
            boxes.push_back({type, at + head, at + size});
            at += size;
        }
        return boxes;
    }

    std::optional<Box> find(const Box& outer, const std::string& type) {
        for (const Box& box : boxesIn(outer))
            if (box.type == type) return box;
        return std::nullopt;
    }

private:
    std::ifstream file_;
    uint64_t size_ = 0;
    bool whole_ = false;
};

// Of a movie or track header (8.2.2, 8.4.2).
struct Span {
    uint64_t ticks_per_second = 0, ticks = 0;
};

Span spanOf(BoxReader& reader, const Box& header) {
    const bool wide = reader.number(header.begin, 1) == 1;
    const uint64_t scale = header.begin + (wide ? 20 : 12);
    return {reader.number(scale, 4), reader.number(scale + 4, wide ? 8 : 4)};
}

bool isPicture(BoxReader& reader, const Box& media) {
    const auto handler = reader.find(media, "hdlr");
    return handler && reader.text(handler->begin + 8, 4) == "vide";
}

bool editsShowAll(BoxReader& reader, const Box& movie, const Box& track, const Box& media) {
    const auto edits = reader.find(track, "edts");
    const auto list = edits ? reader.find(*edits, "elst") : std::nullopt;
    if (!list) return true;
    const bool wide = reader.number(list->begin, 1) == 1;
    if (reader.number(list->begin + 4, 4) != 1) return false;
    const uint64_t shown_ticks = reader.number(list->begin + 8, wide ? 8 : 4);
    const uint64_t from = reader.number(list->begin + (wide ? 16 : 12), wide ? 8 : 4);
    const auto movie_header = reader.find(movie, "mvhd"), media_header = reader.find(media, "mdhd");
    if (from != 0 || !movie_header || !media_header) return false;
    // The edit counts in the movie's ticks, which need not divide the picture's: one is rounding.
    const Span whole = spanOf(reader, *media_header);
    const uint64_t movie_rate = spanOf(reader, *movie_header).ticks_per_second;
    return double(shown_ticks + 1) * double(whole.ticks_per_second) >=
           double(whole.ticks) * double(movie_rate);
}

}  // namespace

bool showsAllFramesCounted(const fs::path& path) {
    BoxReader reader(path);
    const auto top = reader.boxesIn(reader.file());
    const auto is = [](const char* type) {
        return [type](const Box& box) { return box.type == type; };
    };
    const auto movie = std::find_if(top.begin(), top.end(), is("moov"));
    if (movie == top.end() || std::any_of(top.begin(), top.end(), is("moof"))) return false;
    int pictures = 0;
    bool all = true;
    for (const Box& track : reader.boxesIn(*movie)) {
        if (track.type != "trak") continue;
        const auto media = reader.find(track, "mdia");
        if (!media || !isPicture(reader, *media)) continue;
        ++pictures;
        all = all && editsShowAll(reader, *movie, track, *media);
    }
    return reader.whole() && pictures == 1 && all;
}

}  // namespace plateloom::io
