#include "stitch/compose/panorama_census.h"

#include <algorithm>
#include <cmath>

#include "calib/angle.h"

namespace plateloom::stitch {

namespace {

using calib::kPi;
constexpr float kUnit = 1 << 20;
constexpr float kMost = 1 << 20;  // brighter pixels count as this: a preview is for display

// Share of the sphere that row y covers, if it is covered all round.
double rowShare(const PanoramaGrid& grid, int y) {
    const auto sine = [&](double at) {
        if (grid.projection == Projection::equirectangular)
            return std::sin(kPi / 2 - kPi * at / grid.height);
        const double rise = grid.top_tan + (grid.bottom_tan - grid.top_tan) * at / grid.height;
        return rise / std::hypot(1.0, rise);
    };
    return 0.5 * std::abs(sine(y) - sine(y + 1));
}

}  // namespace

PanoramaCensus::PanoramaCensus(const PanoramaGrid& grid, size_t preview_width)
    : grid_(grid), covered_(size_t(grid.height), 0) {
    if (preview_width == 0) return;
    preview_width_ = int(std::min(preview_width, size_t(grid.width)));
    preview_height_ = std::clamp(
        int(std::lround(double(grid.height) * preview_width_ / grid.width)), 1, grid.height);
    sums_.assign(size_t(preview_width_) * preview_height_ * 4, 0);
}

void PanoramaCensus::add(int x0, int y0, const io::Picture& tile) {
    for (int y = 0; y < tile.height; ++y) {
        const float* in = tile.at(0, y);
        int64_t covered = 0;
        for (int x = 0; x < tile.width; ++x) covered += in[4 * x + 3] > 0;
        covered_[size_t(y0 + y)] += covered;
        if (sums_.empty() || covered == 0) continue;
        const size_t row =
            size_t(int64_t(y0 + y) * preview_height_ / grid_.height) * preview_width_;
        for (int x = 0; x < tile.width; ++x, in += 4) {
            if (in[3] == 0) continue;
            int64_t* sum =
                &sums_[(row + size_t(int64_t(x0 + x) * preview_width_ / grid_.width)) * 4];
            for (int c = 0; c < 3; ++c) sum[c] += int64_t(std::clamp(in[c], -kMost, kMost) * kUnit);
            ++sum[3];
        }
    }
}

double PanoramaCensus::coveredShare() const {
    double share = 0;
    for (int y = 0; y < grid_.height; ++y)
        share += rowShare(grid_, y) * double(covered_[size_t(y)]) / grid_.width;
    return share;
}

io::Picture PanoramaCensus::preview() const {
    if (sums_.empty()) return {};
    io::Picture picture(preview_width_, preview_height_, 4);
    // The number of panorama pixels under each preview pixel follows from the same division.
    std::vector<int> across(size_t(preview_width_), 0), down(size_t(preview_height_), 0);
    for (int x = 0; x < grid_.width; ++x)
        ++across[size_t(int64_t(x) * preview_width_ / grid_.width)];
    for (int y = 0; y < grid_.height; ++y)
        ++down[size_t(int64_t(y) * preview_height_ / grid_.height)];
    for (int y = 0; y < preview_height_; ++y)
        for (int x = 0; x < preview_width_; ++x) {
            const int64_t* sum = &sums_[(size_t(y) * preview_width_ + x) * 4];
            const double area = double(across[size_t(x)]) * down[size_t(y)];
            float* out = picture.at(x, y);
            for (int c = 0; c < 3; ++c) out[c] = float(double(sum[c]) / kUnit / area);
            out[3] = float(double(sum[3]) / area);
        }
    return picture;
}

}  // namespace plateloom::stitch
