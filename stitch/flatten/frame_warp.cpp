#include "stitch/flatten/frame_warp.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstring>
#include <vector>

#include "io/half_rows.h"
#include "io/hole.h"
#include "stitch/resample/position_lattice.h"

namespace plateloom::stitch {

namespace {

constexpr int kCell = kStripRows;
constexpr int kCellPixels = kCell * kCell;
constexpr double kTolerance_px = 0.001;

// One strip of lattice cells.
class Strip {
public:
    Strip(const io::FramePart& part, const io::FramePixels& pixels, const FrameBright& bright,
          const FrameWarp& warp, int cy)
        : part_(part),
          pixels_(pixels),
          bright_(bright),
          warp_(warp),
          cy_(cy),
          width_(warp.to.width()),
          across_((width_ + kCell - 1) / kCell),
          rows_(std::min(kCell, warp.to.height() - cy * kCell)),
          stride_(part.pixelBytes()),
          lattice_(
              [&](double x, double y) -> std::optional<calib::Vector2d> {
                  auto source = warp_.source(x + warp_.to.x0, y + warp_.to.y0);
                  if (source) *source -= calib::Vector2d(part_.x, part_.y);
                  return source;
              },
              [](double, double) { return false; }, {0, cy, across_, cy + 1},
              {kCell, kTolerance_px, part.width, part.height}) {
        size_t at = 0;
        for (const io::FrameChannel& channel : part.channels) {
            offset_.push_back(at);
            at += bytesOf(channel.type);
        }
    }

    WarpedRows run(char* samples) {
        WarpedRows found;
        for (int cx = 0; cx < across_; ++cx) {
            columns_ = std::min(kCell, width_ - cx * kCell);
            out_ = samples + size_t(cx) * kCell * stride_;
            if (!lattice_.cell(cx, cy_, points_)) {
                for (int row = 0; row < rows_; ++row)
                    std::memset(pixel(row, 0), 0, size_t(columns_) * stride_);
                found.uncovered += size_t(rows_) * columns_;
                continue;
            }
            light(cx);
            for (size_t i = 0; i < pixels_.filtered.size(); ++i) {
                const size_t missing = filter(pixels_.filtered[i], bright_[i].get());
                if (i == 0) found.uncovered += missing;
            }
            for (const auto& plane : pixels_.nearest) pick(plane);
        }
        found.beyond_half = beyond_half_;
        return found;
    }

private:
    [[nodiscard]] char* pixel(int row, int column) const {
        return out_ + (size_t(row) * width_ + column) * stride_;
    }

    // How much light each pixel gets; those that nothing counts for are sent off the frame.
    void light(int cx) {
        const PixelBounds& from = warp_.from;
        for (int k = 0; k < kCellPixels; ++k) {
            SamplePoint& p = points_[k];
            const calib::Vector2d source(double(p.x) + part_.x, double(p.y) + part_.y);
            const calib::Vector2d made(cx * kCell + k % kCell + 0.5 + warp_.to.x0,
                                       cy_ * kCell + k / kCell + 0.5 + warp_.to.y0);
            const bool counts = source.x() >= from.x0 && source.x() <= from.x1 &&
                                source.y() >= from.y0 && source.y() <= from.y1;
            const auto factor = counts ? warp_.light(made, source) : std::nullopt;
            light_[k] = factor.value_or(0);
            if (!factor) p.x = p.y = -1e6f;
        }
    }

    size_t filter(const io::FramePixels::Filtered& plane, const BrightLight* bright) {
        resample(plane.pixels, bright, points_, kCellPixels, rgba_);
        for (size_t c = 0; c < 4; ++c)
            if (plane.channel[c] >= 0) store(int(c), plane.channel[c], plane.is_share[c]);
        size_t missing = 0;
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column)
                missing += !holdsSample(plane.pixels, points_[row * kCell + column]);
        return missing;
    }

    [[nodiscard]] bool isInPart(const SamplePoint& p) const {
        return p.x >= 0 && p.y >= 0 && p.x <= float(part_.width) && p.y <= float(part_.height);
    }
    [[nodiscard]] size_t pixelAt(const SamplePoint& p) const {
        const int x = std::min(int(p.x), part_.width - 1), y = std::min(int(p.y), part_.height - 1);
        return size_t(y) * size_t(part_.width) + size_t(x);
    }
    [[nodiscard]] bool holdsSample(const io::PlatePixels& plane, const SamplePoint& p) const {
        if (!isInPart(p)) return false;
        const size_t alpha = 4 * pixelAt(p) + 3;
        return !(plane.isHalf() ? io::isHole(plane.half[alpha]) : io::isHole(plane.full[alpha]));
    }

    void store(int c, int channel, bool is_share) {
        const io::FrameChannel& to = part_.channels[size_t(channel)];
        for (int k = 0; k < kCellPixels; ++k) {
            const float value = rgba_[4 * k + c];
            values_[k] = to.kind == io::ChannelKind::colour ? value * light_[k] : value;
        }
        // A filter overshoots beside an edge, and its weights add up to 1 but for rounding.
        constexpr float kRounding = 1e-5f;
        if (is_share)
            for (float& value : values_)
                value = value > 1 - kRounding ? 1.0f : std::max(value, 0.0f);
        if (to.type == io::SampleType::half) {
            if (io::halvesFromFloats(values_, kCellPixels, halves_) > 0 &&
                to.kind == io::ChannelKind::colour)
                countBeyondHalf();
            scatter(halves_, channel);
        } else {
            scatter(values_, channel);
        }
    }

    // The last cells reach beyond the frame.
    void countBeyondHalf() {
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column)
                beyond_half_ += std::abs(values_[row * kCell + column]) > io::kBrightest;
    }

    template <class Value>
    void scatter(const Value* values, int channel) const {
        for (int row = 0; row < rows_; ++row) {
            char* to = pixel(row, 0) + offset_[size_t(channel)];
            for (int column = 0; column < columns_; ++column, to += stride_)
                std::memcpy(to, values + row * kCell + column, sizeof(Value));
        }
    }

    void pick(const io::FramePixels::Nearest& plane) const {
        const size_t bytes = bytesOf(part_.channels[size_t(plane.channel)].type);
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column) {
                const SamplePoint& p = points_[row * kCell + column];
                char* to = pixel(row, column) + offset_[size_t(plane.channel)];
                if (isInPart(p))
                    std::memcpy(to, &plane.samples[bytes * pixelAt(p)], bytes);
                else
                    std::memset(to, 0, bytes);
            }
    }

    const io::FramePart& part_;
    const io::FramePixels& pixels_;
    const FrameBright& bright_;
    const FrameWarp& warp_;
    int cy_, width_, across_, rows_, columns_ = 0;
    size_t stride_;
    std::vector<size_t> offset_;
    PositionLattice lattice_;
    char* out_ = nullptr;
    size_t beyond_half_ = 0;
    SamplePoint points_[kCellPixels];
    float light_[kCellPixels], values_[kCellPixels], rgba_[4 * kCellPixels];
    uint16_t halves_[kCellPixels];
};

}  // namespace

FrameBright findBright(const io::FramePart& part, const io::FramePixels& pixels) {
    FrameBright bright;
    for (const auto& plane : pixels.filtered) {
        const auto kind = part.channels[size_t(plane.channel[0])].kind;
        bright.push_back(kind == io::ChannelKind::colour ? findBright(plane.pixels, kFlatScale)
                                                         : nullptr);
    }
    return bright;
}

WarpedRows warpFrameRows(const FrameSource& source, const FrameWarp& warp, int y, int rows,
                         char* samples) {
    assert(y % kCell == 0);
    const size_t row_bytes = size_t(warp.to.width()) * source.part.pixelBytes();
    std::vector<WarpedRows> found(size_t((rows + kCell - 1) / kCell));
    tbb::parallel_for(0, (rows + kCell - 1) / kCell, [&](int strip) {
        Strip work(source.part, source.pixels, source.bright, warp, y / kCell + strip);
        found[size_t(strip)] = work.run(samples + size_t(strip) * kCell * row_bytes);
    });
    WarpedRows all;
    for (const WarpedRows& one : found) all += one;
    return all;
}

}  // namespace plateloom::stitch
