// Pixels of plates, read when first asked for and kept within a bound.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <vector>

#include "io/picture.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Safe to use from several threads: a plate is read once, others wait for it. The least recently
/// used plates are dropped when the kept ones exceed `bound_bytes`; whoever still holds one keeps
/// it alive. A plate is a still here; the frame of a clip will be one more argument of `get`.
class PlateStore {
public:
    using Reader = std::function<io::PlatePixels(int plate)>;

    explicit PlateStore(const std::vector<Plate>& plates, size_t bound_bytes = size_t(768) << 20);
    /// Plates from anywhere: `read` may be called from several threads, for different plates.
    explicit PlateStore(Reader read, size_t bound_bytes = size_t(768) << 20);
    ~PlateStore();

    /// Throws io::InputError when the file is damaged: to everyone who waited for it. The next call
    /// tries again.
    [[nodiscard]] std::shared_ptr<const io::PlatePixels> get(int plate);
    /// Pixels of a plate that were not finite in its file; 0 while it has not been read.
    [[nodiscard]] size_t badPixels(int plate) const;
    /// Seconds spent reading and pixels read so far.
    [[nodiscard]] double secondsReading() const;
    [[nodiscard]] double pixelsRead() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::stitch
