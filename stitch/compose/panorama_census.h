// What is learned of the panorama as its tiles go by: the share of the sphere that is covered, and
// a small preview. Sums are kept in whole numbers, so that the order of the tiles does not matter.
#pragma once

#include <cstdint>
#include <vector>

#include "io/picture.h"
#include "stitch/resample/panorama_grid.h"

namespace plateloom::stitch {

class PanoramaCensus {
public:
    /// `preview_width` 0: no preview. A preview is never wider than the panorama.
    PanoramaCensus(const PanoramaGrid& grid, size_t preview_width);

    void add(int x, int y, const io::Picture& tile);

    /// Solid angle of covered pixels over that of the whole sphere; a cylinder's band counts as the
    /// part of the sphere that it is.
    [[nodiscard]] double coveredShare() const;
    /// Linear RGBA, associated: the mean over each preview pixel's share of the panorama.
    [[nodiscard]] io::Picture preview() const;

private:
    PanoramaGrid grid_;
    std::vector<int64_t> covered_;  // pixels of each row
    int preview_width_ = 0, preview_height_ = 0;
    std::vector<int64_t> sums_;  // R G B in units of 2^-20, covered pixels
};

}  // namespace plateloom::stitch
