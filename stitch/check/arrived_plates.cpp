#include "stitch/check/arrived_plates.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <chrono>

#include "io/input_error.h"
#include "io/twin_files.h"

namespace fs = std::filesystem;

namespace plateloom::stitch {

namespace {

constexpr size_t kSmallBound_bytes = size_t(512) << 20;

FileStamp stampOf(const fs::path& path) {
    std::error_code ignored;
    return {fs::file_size(path, ignored), fs::last_write_time(path, ignored)};
}

bool changedJustNow(const FileStamp& stamp) {
    using namespace std::chrono_literals;
    return fs::file_time_type::clock::now() - stamp.changed < 10s;
}

void read(const std::string& colour_space, const std::map<fs::path, int>& movie_frames,
          ArrivedPlate& plate) {
    const auto started = std::chrono::steady_clock::now();
    try {
        plate.file = io::readPlateHeader(plate.path, colour_space);
        if (!plate.file.not_a_plate.empty()) return;
        if (const auto frame = movie_frames.find(plate.path); frame != movie_frames.end())
            plate.file = io::movieFrame(plate.file, frame->second);
        const auto pixels = io::readPlatePixels(plate.file);
        plate.reading_s =
            std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
        plate.study = studyPlate(pixels, ArrivedPlates::kSmall_px);
    } catch (const io::InputError& error) {
        plate.fault = error.what();
    }
    // The file as it is after reading: one that grew meanwhile is looked at again.
    const FileStamp after = stampOf(plate.path);
    plate.just_written = changedJustNow(after);
    if (!(after == plate.stamp) && plate.fault.empty()) plate.fault = "it was changing while read";
}

// Plates read together: each needs its pixels, and floats of them.
int platesAtOnce(const std::vector<ArrivedPlate>& plates) {
    constexpr double kMemoryForBytes = 12, kBound_bytes = 900e6;
    double largest = 1;
    for (const auto& plate : plates) largest = std::max(largest, double(plate.stamp.bytes));
    return std::clamp(int(kBound_bytes / (kMemoryForBytes * largest)), 1,
                      tbb::this_task_arena::max_concurrency());
}

}  // namespace

std::vector<fs::path> ArrivedPlates::pathsNow(bool waits) {
    std::vector<fs::path> paths;
    try {
        paths = io::expandPlates(arguments_.plates, arguments_.frames);
    } catch (const io::InputError&) {
        if (!waits) throw;  // while waiting, nothing is there yet
    }
    const auto first = io::firstTwins(paths);
    std::vector<fs::path> once;
    copies_.clear();
    for (size_t i = 0; i < paths.size(); ++i) {
        if (first[i] == i)
            once.push_back(paths[i]);
        else if (paths[i] != paths[first[i]])
            copies_.emplace_back(paths[i], paths[first[i]]);
    }
    return once;
}

bool ArrivedPlates::update(bool waits) {
    const auto paths = pathsNow(waits);
    const bool begins_anew = std::any_of(paths.begin(), paths.end(), [&](const fs::path& path) {
        const auto found = known_.find(path);
        return found != known_.end() && !(whole_[size_t(found->second)].stamp == stampOf(path));
    });
    if (begins_anew) {
        whole_.clear();
        known_.clear();
    }
    std::vector<ArrivedPlate> fresh;
    for (const auto& path : paths)
        if (!known_.count(path)) fresh.push_back({path, stampOf(path), {}, {}, 0, {}, false});
    tbb::task_arena arena(platesAtOnce(fresh));
    arena.execute([&] {
        tbb::parallel_for(size_t(0), fresh.size(), [&](size_t i) {
            tbb::this_task_arena::isolate(
                [&] { read(arguments_.colour_space, movie_frames_, fresh[i]); });
        });
    });
    waiting_.clear();
    damaged_.clear();
    no_plates_.clear();
    for (auto& plate : fresh) {
        if (!plate.file.not_a_plate.empty()) {
            no_plates_.push_back(plate.file);
        } else if (plate.fault.empty()) {
            known_[plate.path] = int(whole_.size());
            whole_.push_back(std::move(plate));
        } else if (waits && plate.just_written) {
            waiting_.push_back(plate.path);
        } else {
            damaged_.push_back(std::move(plate));
        }
    }
    in_order_.clear();
    for (const auto& path : paths)
        if (const auto found = known_.find(path); found != known_.end())
            in_order_.push_back(found->second);
    dropBeyondBound();
    return !begins_anew;
}

void ArrivedPlates::dropBeyondBound() {
    size_t bytes = 0;
    for (auto& plate : whole_) {
        bytes += plate.study.reduced.bytes();
        if (bytes > kSmallBound_bytes) plate.study.reduced = {};
    }
}

io::PlatePixels ArrivedPlates::smallPixels(int plate) const {
    const auto& arrived = whole_[size_t(plate)];
    if (arrived.study.reduced.bytes() > 0) return arrived.study.reduced;
    return studyPlate(io::readPlatePixels(arrived.file), kSmall_px).reduced;
}

}  // namespace plateloom::stitch
