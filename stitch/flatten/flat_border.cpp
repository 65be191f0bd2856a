#include "stitch/flatten/flat_border.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <vector>

#include "io/hole.h"
#include "stitch/resample/flat_positions.h"
#include "stitch/resample/position_lattice.h"

namespace plateloom::stitch {

namespace {

constexpr int kBorderStep = 16;
constexpr int kReach = 8;  // the sharp filter's radius, and as much again for a local scale of 2
constexpr uint16_t kHalfSign = 0x8000;

enum State : uint8_t { picture, beyond, filled, filled_again };

// No colour, and no alpha where the plane has one.
bool isEmpty(const io::FramePixels::Filtered& plane, size_t pixel) {
    const bool has_alpha = plane.channel[3] >= 0;
    if (plane.pixels.isHalf()) {
        const uint16_t* v = &plane.pixels.half[4 * pixel];
        return ((v[0] | v[1] | v[2]) & ~kHalfSign) == 0 && !io::isHole(v[3]) &&
               (!has_alpha || v[3] == 0);
    }
    const float* v = &plane.pixels.full[4 * pixel];
    return v[0] == 0 && v[1] == 0 && v[2] == 0 && !io::isHole(v[3]) && (!has_alpha || v[3] == 0);
}

void put(io::PlatePixels& plane, size_t pixel, const std::array<float, 4>& value) {
    for (size_t c = 0; c < 4; ++c)
        if (plane.isHalf())
            plane.half[4 * pixel + c] = io::halfFromFloat(value[c]);
        else
            plane.full[4 * pixel + c] = value[c];
}

// The light at the edge plus what it gained on the way there, within half and twice the edge's.
float goneOn(float edge, float mirror) {
    if (!(edge > 0 && mirror > 0)) return edge;
    return std::clamp(2 * edge - mirror, 0.5f * edge, 2 * edge);
}

class Border {
public:
    Border(const io::FramePart& part, const calib::LensMap& lens, io::FramePixels& pixels)
        : part_(part),
          lens_(lens),
          pixels_(pixels),
          state_(size_t(part.width) * part.height, picture) {}

    void fill() {
        if (!find()) return;
        // The corners of the border are beyond both along the rows and down the columns.
        for (const State now : {filled, filled_again}) fillFrom(now);
        tbb::parallel_for(0, part_.height, [&](int y) {
            for (int x = 0; x < part_.width; ++x)
                if (state_[at(x, y)] == beyond)
                    for (auto& plane : pixels_.filtered)
                        put(plane.pixels, at(x, y), {0, 0, 0, io::kHole});
        });
    }

private:
    [[nodiscard]] size_t at(int x, int y) const { return size_t(y) * part_.width + x; }

    [[nodiscard]] bool isEmptyPixel(size_t pixel) const {
        return std::all_of(pixels_.filtered.begin(), pixels_.filtered.end(),
                           [&](const auto& plane) { return isEmpty(plane, pixel); });
    }

    // Whether there are any.
    bool find() {
        std::atomic<bool> any{false};
        tbb::parallel_for(0, (part_.height + kBorderStep - 1) / kBorderStep, [&](int cy) {
            if (findInCells(cy)) any = true;
        });
        return any;
    }

    bool findInCells(int cy) {
        const int across = (part_.width + kBorderStep - 1) / kBorderStep;
        const auto& sensor = lens_.sensor();
        PositionLattice lattice(
            [&](double x, double y) {
                return recordedFromFlat(lens_, {x + part_.x, y + part_.y});
            },
            [](double, double) { return false; }, {0, cy, across, cy + 1},
            {kBorderStep, 0.01, sensor.width_px, sensor.height_px, true});
        bool any = false;
        SamplePoint points[kBorderStep * kBorderStep];
        for (int cx = 0; cx < across; ++cx) {
            bool placed = false, somewhere = false;
            const int x1 = std::min((cx + 1) * kBorderStep, part_.width);
            const int y1 = std::min((cy + 1) * kBorderStep, part_.height);
            for (int y = cy * kBorderStep; y < y1; ++y)
                for (int x = cx * kBorderStep; x < x1; ++x) {
                    if (!isEmptyPixel(at(x, y))) continue;
                    if (!placed) somewhere = lattice.cell(cx, cy, points);
                    placed = true;
                    const SamplePoint& p = points[y % kBorderStep * kBorderStep + x % kBorderStep];
                    if (somewhere && PositionLattice::isSomewhere(p) && inFrame(p)) continue;
                    state_[at(x, y)] = beyond;
                    any = true;
                }
        }
        return any;
    }

    [[nodiscard]] bool inFrame(const SamplePoint& p) const {
        return lens_.inPicture({double(p.x), double(p.y)});
    }

    void fillFrom(State now) {
        std::vector<uint8_t> next = state_;
        tbb::parallel_for(0, part_.height, [&](int y) {
            for (int x = 0; x < part_.width; ++x)
                if (state_[at(x, y)] == beyond && fillPixel(x, y)) next[at(x, y)] = now;
        });
        state_ = std::move(next);
    }

    [[nodiscard]] bool isKnown(int x, int y) const {
        return x >= 0 && y >= 0 && x < part_.width && y < part_.height &&
               state_[at(x, y)] != beyond;
    }

    // From the nearest pixel along the rows or columns.
    bool fillPixel(int x, int y) {
        constexpr std::array<std::array<int, 2>, 4> kWays{{{1, 0}, {-1, 0}, {0, 1}, {0, -1}}};
        for (int step = 1; step <= kReach; ++step)
            for (const auto& [dx, dy] : kWays) {
                const int edge_x = x + step * dx, edge_y = y + step * dy;
                if (!isKnown(edge_x, edge_y)) continue;
                int back = step;  // as far as the picture reaches
                while (back > 0 && !isKnown(edge_x + back * dx, edge_y + back * dy)) --back;
                const size_t edge = at(edge_x, edge_y);
                const size_t mirror = at(edge_x + back * dx, edge_y + back * dy);
                for (auto& plane : pixels_.filtered) goOn(plane.pixels, edge, mirror, at(x, y));
                return true;
            }
        return false;
    }

    void goOn(io::PlatePixels& plane, size_t edge, size_t mirror, size_t pixel) const {
        float e[4], m[4];
        const int width = part_.width;
        plane.read(int(edge % size_t(width)), int(edge / size_t(width)), e);
        plane.read(int(mirror % size_t(width)), int(mirror / size_t(width)), m);
        std::array<float, 4> value{0, 0, 0, e[3]};
        // Colours, not their products with alpha, go on; alpha stays.
        for (size_t c = 0; c < 3; ++c)
            value[c] = m[3] > 0 && e[3] > 0 ? goneOn(e[c], m[c] * e[3] / m[3]) : e[c];
        put(plane, pixel, value);
    }

    const io::FramePart& part_;
    const calib::LensMap& lens_;
    io::FramePixels& pixels_;
    std::vector<uint8_t> state_;
};

}  // namespace

void fillFlatBorder(const io::FramePart& part, const calib::LensMap& lens,
                    io::FramePixels& pixels) {
    if (!pixels.filtered.empty()) Border(part, lens, pixels).fill();
}

}  // namespace plateloom::stitch
