// Plates as the filter takes them (bright_light.h): each searched for bright light when it is first
// asked for.
#pragma once

#include <functional>
#include <memory>

#include "stitch/plates/plate_store.h"
#include "stitch/resample/bright_light.h"

namespace plateloom::stitch {

struct SplitPlate {
    std::shared_ptr<const io::PlatePixels> plate;
    std::shared_ptr<const BrightLight> bright;  ///< null: none
};

/// Safe to use from several threads: a plate is searched once, others wait for it. The bright parts
/// of the least recently searched plates are dropped when all together exceed `bound_bytes`, and
/// found again when asked for. The store must outlive it.
class SplitPlates {
public:
    /// `scale`: recorded pixels per output pixel at the most, of a plate of the store.
    using Scale = std::function<double(int plate)>;

    SplitPlates(PlateStore& store, Scale scale, size_t bound_bytes = size_t(128) << 20);
    ~SplitPlates();

    /// Throws as PlateStore::get does.
    [[nodiscard]] SplitPlate get(int plate);

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::stitch
