// Plates made small as they pass by on their way into a job: for thumbnails and the quick panorama
// of a report, without reading any file a second time.
#pragma once

#include <memory>
#include <mutex>
#include <vector>

#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

/// Safe to use from several threads.
class SmallPlates {
public:
    explicit SmallPlates(const std::vector<Plate>& plates);
    /// Plates from anywhere: `read` may be called from several threads, for different plates.
    SmallPlates(size_t plates, PlateStore::Reader read);

    /// Reads plates for a PlateStore and keeps a small one of each. Must not outlive this.
    [[nodiscard]] PlateStore::Reader reader();
    /// Reads the plate if it has not passed by. Throws io::InputError when it can't be read.
    [[nodiscard]] std::shared_ptr<const io::PlatePixels> get(int plate);
    [[nodiscard]] int size() const { return int(small_.size()); }

private:
    void keep(int plate, const io::PlatePixels& pixels);

    PlateStore::Reader read_;
    std::mutex mutex_;
    std::vector<std::shared_ptr<const io::PlatePixels>> small_;  // under mutex_
};

/// The picture made so small that its longer side is `longest_px` at most; it still shows the same
/// frame, edge to edge. A pixel is the mean of sixteen or fewer places spread over it, so the cost
/// does not grow with the plate.
[[nodiscard]] io::PlatePixels shrunk(const io::PlatePixels& pixels, int longest_px);

}  // namespace plateloom::stitch
