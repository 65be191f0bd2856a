// Light pictures of plates, made when first asked for and kept within a bound.
#pragma once

#include <cstddef>
#include <memory>
#include <mutex>
#include <vector>

#include "stitch/plates/light_picture.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

/// Safe to use from several threads. A picture is 5 bytes a pixel; the ones least recently asked
/// for are dropped when the kept ones exceed the bound, and made again when they are wanted again.
class LightStore {
public:
    LightStore(const std::vector<Plate>& plates, PlateStore& pixels, size_t bound_bytes);

    /// Throws io::InputError when the plate's file is damaged.
    [[nodiscard]] std::shared_ptr<const LightPicture> get(int plate);

private:
    struct Slot {
        std::mutex making;
        std::shared_ptr<const LightPicture> picture;  // under mutex_
        unsigned long asked = 0;
    };
    void dropBeyondBound(int newest);

    const std::vector<Plate>& plates_;
    PlateStore& pixels_;
    size_t bound_bytes_;
    std::mutex mutex_;
    unsigned long clock_ = 0;
    std::vector<std::unique_ptr<Slot>> slots_;
};

}  // namespace plateloom::stitch
