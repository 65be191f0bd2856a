#include "io/movie_reader.h"

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <list>
#include <mutex>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

#include "io/input_error.h"

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

}  // namespace

int framesOf(const OIIO::ImageInput& movie) {
    return movie.spec().get_int_attribute("oiio:subimages", 0);
}

int lastFrameIn(const fs::path& path) {
    const auto movie = open(path);
    const int count = framesOf(*movie);
    std::vector<char> row(movie->spec().scanline_bytes(true));
    if (count < 1 || movie->read_native_scanline(count - 1, 0, 0, 0, row.data()))
        return std::max(0, count);
    // A reader that comes from the frame before hands that one over again and calls it read: the
    // last frame that is there is the first of those that look alike at the end.
    const auto again = open(path);
    int last = 0;
    uint64_t before = 0;
    for (int frame = 1; frame <= count; ++frame) {
        if (!again->read_native_scanline(frame - 1, 0, 0, 0, row.data())) break;
        const uint64_t fingerprint = fingerprintOf(*again, frame);
        if (frame == 1 || fingerprint != before) last = frame;
        before = fingerprint;
    }
    (void)again->geterror();
    return last;
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
