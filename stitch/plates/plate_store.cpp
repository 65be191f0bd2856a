#include "stitch/plates/plate_store.h"

#include <cassert>
#include <chrono>
#include <future>
#include <list>
#include <map>
#include <mutex>

#include "io/plate_file.h"

namespace plateloom::stitch {

using PixelsPtr = std::shared_ptr<const io::PlatePixels>;

struct PlateStore::State {
    struct Entry {
        std::shared_future<PixelsPtr> pixels;
        size_t bytes = 0;  // 0 while it is being read: such an entry is never dropped
        std::list<int>::iterator used;
    };

    Reader read;
    size_t bound_bytes = 0;

    mutable std::mutex mutex;
    std::map<int, Entry> entries;
    std::list<int> most_recent_first;
    size_t kept_bytes = 0;
    double seconds = 0, pixels = 0;
    std::map<int, size_t> bad_pixels;

    void dropOldest(int except) {
        for (auto it = most_recent_first.end();
             kept_bytes > bound_bytes && it != most_recent_first.begin();) {
            --it;
            const auto entry = entries.find(*it);
            if (entry->first == except || entry->second.bytes == 0) continue;
            kept_bytes -= entry->second.bytes;
            entries.erase(entry);
            it = most_recent_first.erase(it);
        }
    }

    void forget(int plate) {
        const std::lock_guard lock(mutex);
        const auto entry = entries.find(plate);
        most_recent_first.erase(entry->second.used);
        entries.erase(entry);
    }

    void keep(int plate, const PixelsPtr& picture, double seconds_taken) {
        const std::lock_guard lock(mutex);
        auto& entry = entries.at(plate);
        entry.bytes = std::max<size_t>(1, picture->bytes());
        kept_bytes += entry.bytes;
        seconds += seconds_taken;
        pixels += double(picture->width) * picture->height;
        if (picture->bad_pixels > 0) bad_pixels[plate] = picture->bad_pixels;
        dropOldest(plate);
    }

    PixelsPtr readNow(int plate, std::promise<PixelsPtr>& promise) {
        const auto started = std::chrono::steady_clock::now();
        try {
            auto picture = std::make_shared<const io::PlatePixels>(read(plate));
            const std::chrono::duration<double> taken = std::chrono::steady_clock::now() - started;
            keep(plate, picture, taken.count());
            promise.set_value(picture);
            return picture;
        } catch (...) {
            forget(plate);
            promise.set_exception(std::current_exception());
            throw;
        }
    }
};

PlateStore::PlateStore(const std::vector<Plate>& plates, size_t bound_bytes)
    : PlateStore(
          [&] {
              std::vector<io::PlateFile> files;
              for (const auto& plate : plates) files.push_back(plate.file);
              return [files = std::move(files)](int plate) {
                  assert(plate >= 0 && size_t(plate) < files.size());
                  return io::readPlatePixels(files[size_t(plate)]);
              };
          }(),
          bound_bytes) {}

PlateStore::PlateStore(Reader read, size_t bound_bytes) : state_(std::make_unique<State>()) {
    state_->read = std::move(read);
    state_->bound_bytes = bound_bytes;
}

PlateStore::~PlateStore() = default;

PixelsPtr PlateStore::get(int plate) {
    std::promise<PixelsPtr> promise;
    {
        std::unique_lock lock(state_->mutex);
        const auto found = state_->entries.find(plate);
        if (found != state_->entries.end()) {
            auto& order = state_->most_recent_first;
            order.splice(order.begin(), order, found->second.used);
            const auto pixels = found->second.pixels;
            lock.unlock();
            return pixels.get();
        }
        state_->most_recent_first.push_front(plate);
        state_->entries[plate] = {promise.get_future().share(), 0,
                                  state_->most_recent_first.begin()};
    }
    return state_->readNow(plate, promise);
}

size_t PlateStore::badPixels(int plate) const {
    const std::lock_guard lock(state_->mutex);
    const auto found = state_->bad_pixels.find(plate);
    return found == state_->bad_pixels.end() ? 0 : found->second;
}

double PlateStore::secondsReading() const {
    const std::lock_guard lock(state_->mutex);
    return state_->seconds;
}

double PlateStore::pixelsRead() const {
    const std::lock_guard lock(state_->mutex);
    return state_->pixels;
}

}  // namespace plateloom::stitch
