#include "stitch/flatten/unflatten.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <atomic>
#include <cassert>
#include <cmath>
#include <cstring>
#include <vector>

#include "io/half_rows.h"
#include "stitch/resample/flat_positions.h"
#include "stitch/resample/position_lattice.h"

namespace plateloom::stitch {

namespace {

constexpr int kStep = kStripRows;
constexpr int kCellPixels = kStep * kStep;
constexpr double kTolerance_px = 0.001;

// One strip of lattice cells.
class Strip {
public:
    Strip(const io::FramePart& part, const io::FramePixels& pixels, const calib::LensMap& lens,
          int cy)
        : part_(part),
          pixels_(pixels),
          lens_(lens),
          cy_(cy),
          width_(lens.sensor().width_px),
          across_((width_ + kStep - 1) / kStep),
          rows_(std::min(kStep, lens.sensor().height_px - cy * kStep)),
          stride_(part.pixelBytes()),
          lattice_(
              [&](double x, double y) -> std::optional<calib::Vector2d> {
                  auto flat = flatFromRecorded(lens_, {x, y});
                  if (flat) *flat -= calib::Vector2d(part_.x, part_.y);
                  return flat;
              },
              [](double, double) { return false; }, {0, cy, across_, cy + 1},
              {kStep, kTolerance_px, part.width, part.height}) {
        size_t at = 0;
        for (const io::FrameChannel& channel : part.channels) {
            offset_.push_back(at);
            at += bytesOf(channel.type);
        }
    }

    /// Returns how many pixels are not covered.
    size_t run(char* samples) {
        size_t uncovered = 0;
        for (int cx = 0; cx < across_; ++cx) {
            columns_ = std::min(kStep, width_ - cx * kStep);
            out_ = samples + size_t(cx) * kStep * stride_;
            if (!lattice_.cell(cx, cy_, points_)) {
                for (int row = 0; row < rows_; ++row)
                    std::memset(pixel(row, 0), 0, size_t(columns_) * stride_);
                uncovered += size_t(rows_) * columns_;
                continue;
            }
            transmit(cx);
            for (size_t i = 0; i < pixels_.filtered.size(); ++i) {
                const size_t missing = filter(pixels_.filtered[i]);
                if (i == 0) uncovered += missing;
            }
            for (const auto& plane : pixels_.nearest) pick(plane);
        }
        return uncovered;
    }

private:
    [[nodiscard]] char* pixel(int row, int column) const {
        return out_ + (size_t(row) * width_ + column) * stride_;
    }

    void transmit(int cx) {
        for (int k = 0; k < kCellPixels; ++k) {
            const calib::Vector2d recorded(cx * kStep + k % kStep + 0.5,
                                           cy_ * kStep + k / kStep + 0.5);
            transmission_[k] = std::max(0.0f, float(lens_.transmission(recorded)));
        }
    }

    size_t filter(const io::FramePixels::Filtered& plane) {
        resample(plane.pixels, points_, kCellPixels, rgba_);
        for (size_t c = 0; c < 3; ++c)
            if (plane.channel[c] >= 0) store(int(c), plane.channel[c], plane.is_share[c]);
        size_t missing = 0;
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column)
                missing += rgba_[4 * (row * kStep + column) + 3] == 0;
        return missing;
    }

    void store(int c, int channel, bool is_share) {
        const io::FrameChannel& to = part_.channels[size_t(channel)];
        for (int k = 0; k < kCellPixels; ++k) {
            const float value = rgba_[4 * k + c];
            values_[k] = to.kind == io::ChannelKind::colour ? value * transmission_[k] : value;
        }
        // A filter overshoots beside an edge, and its weights add up to 1 but for rounding.
        constexpr float kRounding = 1e-5f;
        if (is_share)
            for (float& value : values_)
                value = value > 1 - kRounding ? 1.0f : std::max(value, 0.0f);
        if (to.type == io::SampleType::half) {
            io::halvesFromFloats(values_, kCellPixels, halves_);
            scatter(halves_, channel);
        } else {
            scatter(values_, channel);
        }
    }

    template <class Value>
    void scatter(const Value* values, int channel) const {
        for (int row = 0; row < rows_; ++row) {
            char* to = pixel(row, 0) + offset_[size_t(channel)];
            for (int column = 0; column < columns_; ++column, to += stride_)
                std::memcpy(to, values + row * kStep + column, sizeof(Value));
        }
    }

    void pick(const io::FramePixels::Nearest& plane) const {
        const size_t bytes = bytesOf(part_.channels[size_t(plane.channel)].type);
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column) {
                const SamplePoint& p = points_[row * kStep + column];
                char* to = pixel(row, column) + offset_[size_t(plane.channel)];
                if (!(p.x >= 0 && p.y >= 0 && p.x <= float(part_.width) &&
                      p.y <= float(part_.height))) {
                    std::memset(to, 0, bytes);
                    continue;
                }
                const int x = std::min(int(p.x), part_.width - 1);
                const int y = std::min(int(p.y), part_.height - 1);
                std::memcpy(to, &plane.samples[bytes * (size_t(y) * part_.width + x)], bytes);
            }
    }

    const io::FramePart& part_;
    const io::FramePixels& pixels_;
    const calib::LensMap& lens_;
    int cy_, width_, across_, rows_, columns_ = 0;
    size_t stride_;
    std::vector<size_t> offset_;
    PositionLattice lattice_;
    char* out_ = nullptr;
    SamplePoint points_[kCellPixels];
    float transmission_[kCellPixels], values_[kCellPixels], rgba_[4 * kCellPixels];
    uint16_t halves_[kCellPixels];
};

}  // namespace

size_t unflattenRows(const io::FramePart& part, const io::FramePixels& pixels,
                     const calib::LensMap& lens, int y, int rows, char* samples) {
    assert(y % kStep == 0);
    const size_t row_bytes = size_t(lens.sensor().width_px) * part.pixelBytes();
    std::atomic<size_t> uncovered{0};
    tbb::parallel_for(0, (rows + kStep - 1) / kStep, [&](int strip) {
        Strip work(part, pixels, lens, y / kStep + strip);
        uncovered += work.run(samples + size_t(strip) * kStep * row_bytes);
    });
    return uncovered;
}

}  // namespace plateloom::stitch
