#include "stitch/resample/split_plates.h"

#include <list>
#include <map>
#include <mutex>

namespace plateloom::stitch {

struct SplitPlates::State {
    struct Entry {
        std::once_flag found;
        std::shared_ptr<const BrightLight> bright;  // null: none
    };

    PlateStore& store;
    Scale scale;
    size_t bound_bytes;
    std::mutex mutex;
    std::map<int, std::shared_ptr<Entry>> entries;
    std::list<int> newest_first;  // of those that hold any
    size_t kept_bytes = 0;

    std::shared_ptr<Entry> entryOf(int plate) {
        const std::lock_guard lock(mutex);
        auto& entry = entries[plate];
        if (!entry) entry = std::make_shared<Entry>();
        return entry;
    }

    void find(int plate, const io::PlatePixels& pixels, Entry& entry) {
        entry.bright = findBright(pixels, scale(plate));
        if (!entry.bright) return;
        const std::lock_guard lock(mutex);
        kept_bytes += entry.bright->bytes();
        newest_first.push_front(plate);
        while (kept_bytes > bound_bytes && newest_first.size() > 1) {
            const auto oldest = entries.find(newest_first.back());
            kept_bytes -= oldest->second->bright->bytes();
            entries.erase(oldest);  // whoever holds it keeps it
            newest_first.pop_back();
        }
    }
};

SplitPlates::SplitPlates(PlateStore& store, Scale scale, size_t bound_bytes)
    : state_(new State{store, std::move(scale), bound_bytes, {}, {}, {}, 0}) {}

SplitPlates::~SplitPlates() = default;

SplitPlate SplitPlates::get(int plate) {
    auto pixels = state_->store.get(plate);
    const auto entry = state_->entryOf(plate);
    std::call_once(entry->found, [&] { state_->find(plate, *pixels, *entry); });
    return {std::move(pixels), entry->bright};
}

}  // namespace plateloom::stitch
