#include "io/clip.h"

#include <algorithm>
#include <array>
#include <limits>
#include <map>
#include <system_error>

#include "io/clip_faults.h"
#include "io/file_name.h"
#include "io/input_error.h"
#include "io/movie_frames.h"
#include "io/numbered_files.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// Files of one name and one format, in any order.
struct Format {
    std::string extension;
    std::vector<NumberedFile> files;
};

// What may become a clip: a movie, or numbered files that differ in number and format alone.
struct FoundClip {
    fs::path movie;
    fs::path folder;
    std::string before, after;  // of the file's stem
    std::vector<Format> formats;
    bool from_folder = false;  // nobody named it

    [[nodiscard]] size_t frames() const {
        if (!movie.empty()) return std::numeric_limits<size_t>::max();
        size_t most = 0;
        for (const Format& format : formats) most = std::max(most, format.files.size());
        return most;
    }
};

// The first is used where a frame is there in several: what holds more light comes first.
int rankOf(const std::string& extension) {
    constexpr std::array<const char*, 8> kByWorth{".exr", ".dpx", ".tif", ".tiff",
                                                  ".hdr", ".png", ".jpg", ".jpeg"};
    return int(std::find(kByWorth.begin(), kByWorth.end(), lowered(extension)) - kByWorth.begin());
}

// Folders or pictures and movies in a folder, by name; hidden ones are what other programs have not
// finished.
std::vector<fs::path> listed(const fs::path& folder, bool folders) {
    std::vector<fs::path> found;
    std::error_code error;
    for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error)) {
        const fs::path& path = entry->path();
        if (path.filename().string().starts_with('.') || entry->is_directory() != folders) continue;
        if (folders || isPictureName(path) || isMovieName(path)) found.push_back(path);
    }
    if (error)
        throw InputError(folder.string(), "this folder can't be read (" + error.message() + ")");
    std::sort(found.begin(), found.end());
    return found;
}

// What can't be read is no panorama; it is refused where it is opened.
bool saysNoPlate(const FoundClip& candidate) {
    if (!candidate.movie.empty()) return false;
    try {
        const auto& file = candidate.formats.front().files.front();
        return !readPlateHeader(file.path).not_a_plate.empty();
    } catch (const InputError&) {
        return false;
    }
}

class Search {
public:
    void add(const std::string& argument) {
        std::error_code error;
        const fs::file_status status = fs::status(argument, error);
        if (fs::is_directory(status))
            addFolder(argument);
        else if (fs::exists(status) && isMovieName(argument))
            addMovie(argument);
        else if (fs::exists(status))
            addFile(argument, false);
        else if (namesFrames(argument))
            addPattern(argument);
        else
            throw InputError(argument, "there is no such file or folder");
    }

    [[nodiscard]] const std::vector<FoundClip>& candidates() const { return candidates_; }

private:
    void addFolder(const fs::path& folder) {
        if (addPicturesOf(folder)) return;
        // As clips are usually delivered: a folder for each camera.
        bool any = false;
        for (const fs::path& camera : listed(folder, true)) any |= addPicturesOf(camera);
        if (any) return;
        throw InputError(folder.string(),
                         "this folder holds no clip, and neither do the folders in it: neither a "
                         "movie nor two numbered pictures of one name (name.1001.exr, "
                         "name.1002.exr)");
    }

    // Whether there is a clip among them that may be a plate.
    bool addPicturesOf(const fs::path& folder) {
        const size_t before = candidates_.size();
        for (const fs::path& path : listed(folder, false)) {
            if (isMovieName(path))
                addMovie(path);
            else if (numberedName(path))
                addFile(path, true);
        }
        return std::any_of(candidates_.begin() + std::ptrdiff_t(before), candidates_.end(),
                           [](const FoundClip& candidate) {
                               return candidate.frames() > 1 && !saysNoPlate(candidate);
                           });
    }

    void addMovie(const fs::path& path) {
        FoundClip movie;
        movie.movie = path;
        candidates_.push_back(std::move(movie));
    }

    void addFile(const fs::path& path, bool from_folder) {
        const auto name = numberedName(path);
        if (!name)
            throw InputError(path.string(),
                             "has no frame number in its name, so it is no frame of a clip: name "
                             "it as name.1001.exr, or leave it out");
        addFrame(path.parent_path(), name->before, "", name->after, {name->number, path},
                 from_folder);
    }

    void addPattern(const std::string& pattern) {
        const auto files = filesOfPattern(pattern);
        if (files.empty()) throw InputError(pattern, "there is no file of such a name");
        const PatternParts parts = partsOf(pattern);
        const fs::path after(parts.after);
        for (const NumberedFile& file : files)
            addFrame(fs::path(pattern).parent_path(), parts.before, after.stem().string(),
                     after.extension().string(), file, false);
    }

    void addFrame(const fs::path& folder, const std::string& before, std::string after,
                  std::string extension, NumberedFile file, bool from_folder) {
        // Of ".exr" alone std::filesystem makes a stem.
        if (extension.empty()) std::swap(after, extension);
        const auto key = std::make_tuple(folder.lexically_normal(), before, after);
        const auto [known, is_new] = of_name_.try_emplace(key, candidates_.size());
        if (is_new) {
            candidates_.push_back({{}, folder, before, after, {}, from_folder});
        }
        FoundClip& candidate = candidates_[known->second];
        candidate.from_folder = candidate.from_folder && from_folder;
        auto& formats = candidate.formats;
        auto format = std::find_if(formats.begin(), formats.end(),
                                   [&](const Format& one) { return one.extension == extension; });
        if (format == formats.end()) format = formats.insert(formats.end(), {extension, {}});
        format->files.push_back(std::move(file));
    }

    std::vector<FoundClip> candidates_;
    std::map<std::tuple<fs::path, std::string, std::string>, size_t> of_name_;
};

std::string nameOf(const FoundClip& candidate) {
    constexpr const char* kSeparators = "._- ";
    std::string name = candidate.before;
    if (!candidate.movie.empty()) return candidate.movie.stem().string();
    name.erase(std::min(name.find_last_not_of(kSeparators) + 1, name.size()));
    name += name.empty()
                ? candidate.after.substr(std::min(candidate.after.find_first_not_of(kSeparators),
                                                  candidate.after.size()))
                : candidate.after;
    if (!name.empty()) return name;
    std::error_code error;
    const fs::path folder = fs::absolute(candidate.folder, error).lexically_normal();
    const fs::path last =
        folder.has_filename() ? folder.filename() : folder.parent_path().filename();
    return last.empty() ? "clip" : last.string();
}

// How many digits most of the numbers have, and which of them a file's has.
int digitsOf(const NumberedFile& file, const FoundClip& candidate, const Format& format) {
    return int(file.path.filename().string().size() - candidate.before.size() -
               candidate.after.size() - format.extension.size());
}

int usualDigits(const FoundClip& candidate, const Format& format) {
    std::map<int, int> count;
    for (const NumberedFile& file : format.files) ++count[digitsOf(file, candidate, format)];
    // Numbers without leading zeros have several widths; # then stands for the shortest.
    return std::max_element(count.begin(), count.end(),
                            [](const auto& a, const auto& b) { return a.second < b.second; })
        ->first;
}

// Fills the clip's frames, each once.
void settleFrames(const FoundClip& candidate, Clip& clip, std::vector<std::string>* warnings) {
    const auto& formats = candidate.formats;
    const auto best = std::min_element(
        formats.begin(), formats.end(),
        [](const Format& a, const Format& b) { return rankOf(a.extension) < rankOf(b.extension); });
    const int digits = usualDigits(candidate, *best);
    std::vector<NumberedFile> files = best->files;
    const auto rank = [&](const NumberedFile& file) {
        const int own = digitsOf(file, candidate, *best);
        return own == digits ? 0 : own;
    };
    std::stable_sort(files.begin(), files.end(), [&](const NumberedFile& a, const NumberedFile& b) {
        return a.number != b.number ? a.number < b.number : rank(a) < rank(b);
    });
    std::vector<int64_t> doubled;
    for (const NumberedFile& file : files) {
        if (clip.numbers.empty() || clip.numbers.back() != file.number) {
            clip.numbers.push_back(file.number);
            clip.files.push_back(file.path);
        } else if (file.path.lexically_normal() != clip.files.back().lexically_normal() &&
                   (doubled.empty() || doubled.back() != file.number)) {
            doubled.push_back(file.number);
        }
    }
    const int shortest = digitsOf(files.front(), candidate, *best);
    clip.pattern = (candidate.folder /
                    (candidate.before + std::string(size_t(std::min(digits, shortest)), '#') +
                     candidate.after + best->extension))
                       .string();
    if (!doubled.empty())
        warnings->push_back(clip.name + ": " + framesInWords(doubled) +
                            (doubled.size() == 1 ? " is" : " are") +
                            " there twice, with and without leading zeros; that named as the "
                            "others are is used");
    for (const Format& other : formats) {
        if (&other == &*best) continue;
        std::vector<int64_t> also;
        for (const NumberedFile& file : other.files) also.push_back(file.number);
        std::sort(also.begin(), also.end());
        warnings->push_back(clip.name + ": " + framesInWords(also) +
                            (also.size() == 1 ? " is" : " are") + " there as " + other.extension +
                            " as well; " + best->extension + " is used");
    }
}

void keepOnly(const FrameRange& frames, Clip& clip) {
    const int64_t first = clip.numbers.front(), last = clip.numbers.back();
    std::vector<int64_t> numbers;
    std::vector<fs::path> files;
    for (size_t i = 0; i < clip.numbers.size(); ++i) {
        if (clip.numbers[i] < frames.first || clip.numbers[i] > frames.last) continue;
        numbers.push_back(clip.numbers[i]);
        if (!clip.movie) files.push_back(clip.files[i]);
    }
    if (numbers.empty())
        throw InputError(clip.pattern, "has frames " + std::to_string(first) + " to " +
                                           std::to_string(last) + ", none of --frames " +
                                           std::to_string(frames.first) + "-" +
                                           std::to_string(frames.last));
    clip.numbers = std::move(numbers);
    clip.files = std::move(files);
}

// A number far from all others is none of a frame. Names the file on the lesser side of the widest
// gap.
void refuseDistant(const Clip& clip) {
    const auto& numbers = clip.numbers;
    if (numbers.back() - numbers.front() < kMostFrames) return;
    size_t after = 1;
    for (size_t i = 2; i < numbers.size(); ++i)
        if (numbers[i] - numbers[i - 1] > numbers[after] - numbers[after - 1]) after = i;
    const size_t distant = after * 2 > numbers.size() ? after : after - 1;
    const size_t near = distant == after ? after - 1 : after;
    throw InputError(clip.files[distant].string(),
                     "its frame number is " +
                         std::to_string(std::abs(numbers[distant] - numbers[near])) +
                         " away from the next one's (" + std::to_string(numbers[near]) +
                         "): rename it, leave it out, or name the frames with --frames");
}

std::string rateInWords(const FrameRate& rate) {
    char text[40];
    std::snprintf(text, sizeof text, "%.6g", rate.perSecond());
    return text;
}

Clip clipOf(const FoundClip& candidate, std::optional<FrameRange> frames,
            const std::string& colour_space, Clips* out) {
    Clip clip;
    clip.name = nameOf(candidate);
    if (candidate.movie.empty()) {
        settleFrames(candidate, clip, &out->warnings);
        if (frames) keepOnly(*frames, clip);
        refuseDistant(clip);
        clip.first = readPlateHeader(clip.files.front(), colour_space);
    } else {
        clip.movie = true;
        clip.pattern = candidate.movie.string();
        const PlateFile header = readPlateHeader(candidate.movie, colour_space);
        const MovieFrames there = framesOfMovie(candidate.movie, frames);
        if (!there.lost.empty()) out->warnings.push_back(clip.name + ": " + there.lost);
        for (int frame = 1; frame <= there.last; ++frame) clip.numbers.push_back(frame);
        if (frames) keepOnly(*frames, clip);
        clip.first = movieFrame(header, int(clip.numbers.front()));
        out->notes.push_back(clip.name + ": a movie of " + std::to_string(there.counted) +
                             " frames, good for reference: its colours are what its decoder makes "
                             "of them, " +
                             header.colour_space + " unless --colour-space says otherwise");
    }
    clip.colour_space = colour_space;
    clip.rate = clip.first.frame_rate;
    if (clip.rate) clip.rate = frameRateOf(clip.rate->perSecond());
    if (!clip.rate && !clip.movie) {
        clip.rate = rateByTimecode(clip);
        if (clip.rate)
            out->notes.push_back(clip.name + ": its timecodes count " + rateInWords(*clip.rate) +
                                 " frames a second; its files do not say the rate");
    }
    return clip;
}

void tellFaults(Clip& clip, Clips* out) {
    const auto timecode = clip.first.timecode();
    constexpr FrameRate kFastest{120, 1};
    if (timecode && exists(*timecode, clip.rate.value_or(kFastest))) clip.start = timecode;
    const ClipFaults faults = faultsOf(clip);
    if (faults.timecode_stands) clip.start.reset();
    for (std::string& line : inWords(faults, clip)) out->warnings.push_back(std::move(line));
}

// Clips of one name are told apart by their folders.
void nameApart(std::vector<Clip>* clips) {
    std::map<std::string, int> count;
    for (const Clip& clip : *clips) ++count[clip.name];
    for (Clip& clip : *clips) {
        if (count[clip.name] < 2) continue;
        std::error_code error;
        const fs::path folder = fs::absolute(clip.pattern, error).parent_path().filename();
        clip.name = (folder / clip.name).string();
    }
    count.clear();
    for (const Clip& clip : *clips) ++count[clip.name];
    for (Clip& clip : *clips)
        if (count[clip.name] > 1) clip.name = clip.pattern;
}

}  // namespace

bool Clip::has(int64_t number) const {
    return std::binary_search(numbers.begin(), numbers.end(), number);
}

PlateFile Clip::frame(int64_t number) const {
    const auto found = std::lower_bound(numbers.begin(), numbers.end(), number);
    if (found == numbers.end() || *found != number)
        throw InputError(pattern, "has no frame " + std::to_string(number));
    if (movie) return movieFrame(first, int(number));
    const fs::path& path = files[size_t(found - numbers.begin())];
    std::error_code error;
    if (!fs::exists(path, error))
        throw InputError(path.string(),
                         "was there when the job began and is gone now: put it back and run the "
                         "job again");
    PlateFile file = readPlateHeader(path, colour_space);
    if (file.width != first.width || file.height != first.height)
        throw InputError(path.string(),
                         "is " + std::to_string(file.width) + " x " + std::to_string(file.height) +
                             ", but the clip's first "
                             "frame is " +
                             std::to_string(first.width) + " x " + std::to_string(first.height) +
                             ": frames of a clip have one size");
    if (file.colour_space != first.colour_space)
        throw InputError(path.string(),
                         "holds " + file.colour_space + ", but the clip's first frame holds " +
                             first.colour_space + ": give --colour-space, or fix the file");
    if (file.frame_rate && first.frame_rate &&
        frameRateOf(file.frame_rate->perSecond()) != frameRateOf(first.frame_rate->perSecond()))
        throw InputError(path.string(), "says " + rateInWords(*file.frame_rate) +
                                            " frames a second, but the clip's first frame " +
                                            rateInWords(*first.frame_rate));
    if (first.to_working) {
        file.to_working = first.to_working;
        file.chromaticities = first.chromaticities;
    }
    return file;
}

Clips findClips(const std::vector<std::string>& arguments, std::optional<FrameRange> frames,
                const std::string& colour_space, ClipsOf what) {
    Search search;
    for (const std::string& argument : arguments) search.add(argument);
    Clips out;
    std::vector<std::string> singles;
    std::vector<fs::path> no_plates;
    for (const FoundClip& candidate : search.candidates()) {
        if (candidate.from_folder && candidate.frames() < 2) {
            singles.push_back(candidate.formats.front().files.front().path.filename().string());
            continue;
        }
        if (what == ClipsOf::plates && saysNoPlate(candidate)) {
            no_plates.push_back(candidate.formats.front().files.front().path);
            continue;
        }
        out.clips.push_back(clipOf(candidate, frames, colour_space, &out));
    }
    for (const fs::path& path : no_plates) {
        const std::string is = readPlateHeader(path).not_a_plate;
        if (out.clips.empty())
            throw InputError(path.string(), "is " + is + ", and no plates are there");
        out.warnings.push_back(path.string() + ": left out with the other frames of that name, " +
                               "it is " + is + ", not a plate");
    }
    if (!singles.empty())
        out.warnings.push_back(singles.front() +
                               (singles.size() > 1
                                    ? " and " + std::to_string(singles.size() - 1) + " more"
                                    : std::string()) +
                               ": left out, no other picture of that name makes it a clip");
    nameApart(&out.clips);
    for (Clip& clip : out.clips) tellFaults(clip, &out);
    return out;
}

}  // namespace plateloom::io
