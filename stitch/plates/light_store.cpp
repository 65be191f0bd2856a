#include "stitch/plates/light_store.h"

#include <tbb/task_arena.h>

namespace plateloom::stitch {

namespace {

size_t bytesOf(const LightPicture& picture) {
    return picture.log_light.total() * picture.log_light.elemSize() +
           picture.valid.total() * picture.valid.elemSize();
}

}  // namespace

LightStore::LightStore(const std::vector<Plate>& plates, PlateStore& pixels, size_t bound_bytes)
    : plates_(plates), pixels_(pixels), bound_bytes_(bound_bytes) {
    for (size_t i = 0; i < plates.size(); ++i) slots_.push_back(std::make_unique<Slot>());
}

std::shared_ptr<const LightPicture> LightStore::get(int plate) {
    Slot& slot = *slots_[plate];
    const std::lock_guard making(slot.making);  // others who want this plate wait for it here
    {
        const std::lock_guard lock(mutex_);
        slot.asked = ++clock_;
        if (slot.picture) return slot.picture;
    }
    // Isolated: while it waits for its own tasks, this thread must not take up another one that
    // wants this plate, for which it would wait itself.
    const auto made = tbb::this_task_arena::isolate([&] {
        const auto pixels = pixels_.get(plate);
        return std::make_shared<const LightPicture>(
            lightPicture(*pixels, calib::LensMap(plates_[plate].lens, plates_[plate].sensor)));
    });
    const std::lock_guard lock(mutex_);
    slot.picture = made;
    dropBeyondBound(plate);
    return made;
}

void LightStore::dropBeyondBound(int newest) {
    size_t kept = 0;
    for (const auto& slot : slots_)
        if (slot->picture) kept += bytesOf(*slot->picture);
    while (kept > bound_bytes_) {
        Slot* oldest = nullptr;
        for (size_t i = 0; i < slots_.size(); ++i) {
            Slot* slot = slots_[i].get();
            if (slot->picture && int(i) != newest && (!oldest || slot->asked < oldest->asked))
                oldest = slot;
        }
        if (!oldest) return;
        kept -= bytesOf(*oldest->picture);
        oldest->picture.reset();
    }
}

}  // namespace plateloom::stitch
