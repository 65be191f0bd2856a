#include "io/movie_reader.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <list>
#include <mutex>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

#include "io/input_error.h"
#include "io/movie_index.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// One a camera of an array and a few more; each holds a decoder's few frames.
constexpr size_t kMostKept = 16;

struct Kept {
    fs::path path;
    fs::file_time_type changed;  // another movie may have come to stand under the name
    std::unique_ptr<OIIO::ImageInput> input;
    int position = 0;                     // frame that was read last; 0: none yet
    std::optional<uint64_t> fingerprint;  // of that frame
};

class Readers {
public:
    // The one that stands nearest before the frame; an empty one where opening anew is no slower.
    Kept take(const fs::path& path, const fs::file_time_type& changed, int frame) {
        const std::lock_guard lock(guard_);
        auto best = kept_.end();
        for (auto at = kept_.begin(); at != kept_.end(); ++at)
            if (at->path == path && at->changed == changed && at->position < frame &&
                (best == kept_.end() || at->position > best->position))
                best = at;
        if (best == kept_.end()) return {path, changed, nullptr, 0, {}};
        Kept taken = std::move(*best);
        kept_.erase(best);
        return taken;
    }

    void giveBack(Kept reader) {
        const std::lock_guard lock(guard_);
        kept_.push_front(std::move(reader));
        if (kept_.size() > kMostKept) kept_.pop_back();
    }

private:
    std::mutex guard_;
    std::list<Kept> kept_;  // the last used first
};

// Lives as long as the process: readers come back from other objects' destructors.
Readers& readers() {
    static Readers& all = *new Readers;
    return all;
}

std::unique_ptr<OIIO::ImageInput> open(const fs::path& path) {
    auto input = OIIO::ImageInput::create("ffmpeg");
    if (!input) {
        (void)OIIO::geterror();
        throw InputError(path.string(),
                         "is a movie, and this machine's OpenImageIO was built without movies "
                         "(FFmpeg): turn it into numbered pictures (name.####.exr) first");
    }
    OIIO::ImageSpec spec;
    if (!input->open(path.string(), spec)) {
        (void)input->geterror();
        throw InputError(path.string(),
                         "can't be opened as a movie: it is damaged, cut short, or holds no "
                         "picture that FFmpeg can decode");
    }
    return input;
}

// Of a frame's samples: FNV-1a, eight bytes a step. Where the frame is the one that was decoded
// last its rows are only copied.
uint64_t fingerprintOf(OIIO::ImageInput& input, int frame) {
    constexpr uint64_t kPrime = 0x100000001b3u;
    uint64_t hash = 0xcbf29ce484222325u;
    std::vector<char> row(input.spec().scanline_bytes(true));
    for (int y = 0; y < input.spec().height; ++y) {
        if (!input.read_native_scanline(frame - 1, 0, y, 0, row.data())) break;
        for (size_t at = 0; at < row.size(); at += sizeof hash) {
            uint64_t word = 0;
            std::memcpy(&word, &row[at], std::min(sizeof word, row.size() - at));
            hash = (hash ^ word) * kPrime;
        }
    }
    (void)input.geterror();
    return hash;
}

// Decodes what lies between, as far as the reader's own rule of one after the other needs it.
void stepTo(Kept& reader, int frame) {
    std::vector<char> row(reader.input->spec().scanline_bytes(true));
    for (int next = reader.position + 1; next < frame; ++next) {
        (void)reader.input->read_native_scanline(next - 1, 0, 0, 0, row.data());
        (void)reader.input->geterror();
        reader.position = next;
        if (next + 1 == frame) reader.fingerprint = fingerprintOf(*reader.input, next);
    }
}

struct GivesBack {
    std::shared_ptr<Kept> reader;
    void operator()(OIIO::ImageInput*) const { readers().giveBack(std::move(*reader)); }
};

void checkHas(const Kept& reader, int frame) {
    const int count = framesOf(*reader.input);
    if (frame < 1 || frame > count)
        throw InputError(reader.path.string(), "has " + std::to_string(count) +
                                                   " frames, no frame " + std::to_string(frame));
}

fs::file_time_type changeOf(const fs::path& path) {
    std::error_code error;
    const auto changed = fs::last_write_time(path, error);
    if (error) throw InputError(path.string(), "there is no such file");
    return changed;
}

// Codecs that no frame of leans on another, as FFmpeg names them.
bool framesStandAlone(const OIIO::ImageInput& movie) {
    const std::string codec = movie.spec().get_string_attribute("ffmpeg:codec_name");
    constexpr std::array kNames{"ProRes",    "VC3",       "Motion JPEG",
                                "JPEG 2000", "raw video", "Uncompressed"};
    return std::any_of(kNames.begin(), kNames.end(),
                       [&](const char* name) { return codec.find(name) != std::string::npos; });
}

// Only a reader that never decoded anything tells a frame that it can't decode: any other hands
// over the one that it decoded last. The further the frame, the longer it takes.
bool decodes(const fs::path& path, int frame) {
    const auto movie = open(path);
    std::vector<char> row(movie->spec().scanline_bytes(true));
    const bool read = movie->read_native_scanline(frame - 1, 0, 0, 0, row.data());
    (void)movie->geterror();
    return read;
}

// `good` decodes, or is 0; whatever comes after the last frame that decodes does not either.
int lastDecodedFrom(const fs::path& path, int good, int wanted) {
    int bad = wanted + 1;
    for (int step = 1; bad - good > 1; step *= 2) {
        const int frame = good + std::min(step, (bad - good) / 2);
        (decodes(path, frame) ? good : bad) = frame;
    }
    return good;
}

int lastDecoded(const fs::path& path, OIIO::ImageInput& unused, int wanted) {
    // H.264 and H.265 let a frame wait for 16 others at most (ITU-T H.264 A.3.1, H.265 A.4.2).
    constexpr int kMostWaiting = 16;
    int frame = std::max(1, wanted - kMostWaiting);
    std::vector<char> row(unused.spec().scanline_bytes(true));
    if (!unused.read_native_scanline(frame - 1, 0, 0, 0, row.data())) {
        (void)unused.geterror();
        return lastDecodedFrom(path, 0, frame - 1);
    }
    for (uint64_t before = fingerprintOf(unused, frame); frame < wanted; ++frame) {
        const uint64_t next = fingerprintOf(unused, frame + 1);
        // Not decoded, or a picture that stands still.
        if (next == before) return lastDecodedFrom(path, frame, wanted);
        before = next;
    }
    return wanted;
}

}  // namespace

int framesOf(const OIIO::ImageInput& movie) {
    return movie.spec().get_int_attribute("oiio:subimages", 0);
}

MovieExtent extentOfMovie(const fs::path& path, int limit) {
    const auto movie = open(path);
    const int counted = std::max(0, framesOf(*movie)), wanted = std::min(counted, limit);
    if (wanted < 1) return {counted, 0};
    if (framesStandAlone(*movie) && showsAllFramesCounted(path)) return {counted, wanted};
    return {counted, lastDecoded(path, *movie, wanted)};
}

std::shared_ptr<OIIO::ImageInput> movieAt(const fs::path& path, int frame) {
    const auto changed = changeOf(path);
    auto reader = std::make_shared<Kept>(readers().take(path, changed, frame));
    if (!reader->input) reader->input = open(path);
    checkHas(*reader, frame);
    stepTo(*reader, frame);
    reader->position = frame;
    return {reader->input.get(), GivesBack{reader}};
}

bool repeatsLastFrame(const std::shared_ptr<OIIO::ImageInput>& movie, int frame) {
    const auto* kept = std::get_deleter<GivesBack>(movie);
    if (!kept) return false;
    const uint64_t fingerprint = fingerprintOf(*movie, frame);
    const bool repeats = kept->reader->fingerprint == fingerprint;
    kept->reader->fingerprint = fingerprint;
    return repeats;
}

std::shared_ptr<OIIO::ImageInput> freshMovieAt(const fs::path& path, int frame) {
    Kept reader{path, changeOf(path), open(path), 0, {}};
    checkHas(reader, frame);
    return std::move(reader.input);
}

}  // namespace plateloom::io
