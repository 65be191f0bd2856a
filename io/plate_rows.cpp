#include "io/plate_rows.h"

#include <algorithm>
#include <cmath>

#include "io/half_rows.h"
#include "io/hole.h"

namespace plateloom::io {

namespace {

constexpr uint16_t kHalfOne = 0x3c00, kHalfExponent = 0x7c00, kHalfInfinity = 0x7c00,
                   kHalfSign = 0x8000;

bool isFiniteHalf(uint16_t bits) {
    return (bits & kHalfExponent) != kHalfExponent;
}

// Linear halves of all code values. Half keeps 11 bits of every value above 6e-5, finer than the
// noise of any sensor at that level, so 16-bit code values lose nothing that was recorded.
std::vector<uint16_t> tableOf(const Linearization& linearization, const CodeRange& codes,
                              size_t size) {
    std::vector<uint16_t> table(size);
    for (size_t code = 0; code < size; ++code) {
        table[code] = halfFromFloat(linearization(codes(float(code) / float(size - 1))));
    }
    return table;
}

// A hole where a sample is no number or minus infinity; plus infinity is the brightest colour.
void settleNotFinite(float* pixel, NotFinite& found) {
    bool infinite = false, hole = !std::isfinite(pixel[3]);
    for (int c = 0; c < 3; ++c) {
        if (pixel[c] == INFINITY) {
            pixel[c] = kBrightest;
            infinite = true;
        } else if (!std::isfinite(pixel[c])) {
            hole = true;
        }
    }
    found.holes += hole;
    found.infinite += infinite && !hole;
    if (!hole) return;
    std::fill(pixel, pixel + 3, 0.0f);
    pixel[3] = kHole;
}

// Alpha is coverage, 0 to 1; where nothing covers there is no colour either.
NotFinite settle(size_t count, float* rgba, bool& covered) {
    NotFinite found;
    for (float* pixel = rgba; pixel != rgba + 4 * count; pixel += 4) {
        // A sum is finite only if all of its terms are.
        if (!std::isfinite(pixel[0] + pixel[1] + pixel[2] + pixel[3]))
            settleNotFinite(pixel, found);
        else if (!(pixel[3] > 0))
            std::fill(pixel, pixel + 4, 0.0f);
        pixel[3] = std::min(pixel[3], 1.0f);
        covered |= pixel[3] > 0;
    }
    return found;
}

// The same for halves as they are stored.
void settleNotFinite(uint16_t* pixel, NotFinite& found) {
    bool infinite = false, hole = !isFiniteHalf(pixel[3]);
    for (int c = 0; c < 3; ++c) {
        if (pixel[c] == kHalfInfinity) {
            pixel[c] = kHalfBrightest;
            infinite = true;
        } else if (!isFiniteHalf(pixel[c])) {
            hole = true;
        }
    }
    found.holes += hole;
    found.infinite += infinite && !hole;
    if (!hole) return;
    std::fill(pixel, pixel + 3, uint16_t(0));
    pixel[3] = kHalfHole;
}

}  // namespace

ChannelSpan channelSpan(const PictureSource& source, bool with_alpha) {
    int first = source.channel[0], last = source.channel[0];
    for (int c = 1; c < (with_alpha ? 4 : 3); ++c) {
        if (source.channel[c] < 0) continue;
        first = std::min(first, source.channel[c]);
        last = std::max(last, source.channel[c]);
    }
    return {first, last - first + 1};
}

RowConverter::RowConverter(const PictureSource& source, const std::string& colour_space,
                           bool with_alpha, bool to_halves)
    : source_(source),
      linearization_(colour_space),
      codes_(codeRangeOf(source)),
      span_(channelSpan(source, with_alpha)),
      read_as_(OIIO::TypeFloat) {
    for (int c = 0; c < 4; ++c) at_[c] = source.channel[c] - span_.first;
    const bool has_alpha = with_alpha && source.channel[3] >= 0;
    if (!has_alpha) at_[3] = -1;

    bool same_type = true;
    for (int c = span_.first; c < span_.first + span_.count; ++c) {
        same_type = same_type && source.spec.channelformat(c) == source.type();
    }
    if (!same_type) return;
    switch (source.type().basetype) {
        case OIIO::TypeDesc::HALF:
            if (to_halves && linearization_.isNone()) read_as_ = OIIO::TypeHalf;
            break;
        case OIIO::TypeDesc::UINT8:
        case OIIO::TypeDesc::UINT16:
            if (!to_halves || !linearization_.isCurve() || has_alpha) break;
            read_as_ = source.type();
            table_ = tableOf(linearization_, codes_, read_as_ == OIIO::TypeUInt8 ? 256 : 65536);
            break;
        case OIIO::TypeDesc::UINT32:
            // OpenEXR's integers are numbers, not parts of full scale.
            if (source.kind == FileKind::exr) read_as_ = OIIO::TypeUInt32;
            break;
        default:
            break;
    }
}

NotFinite RowConverter::copyHalves(const uint16_t* samples, size_t count, uint16_t* rgba,
                                   bool& covered) const {
    NotFinite found;
    for (size_t i = 0; i < count; ++i, samples += span_.count, rgba += 4) {
        for (int c = 0; c < 3; ++c) rgba[c] = samples[at_[c]];
        rgba[3] = at_[3] < 0 ? kHalfOne : samples[at_[3]];
        if (isHole(rgba[3])) rgba[3] = 0;  // the file's own -0
        if (!(isFiniteHalf(rgba[0]) && isFiniteHalf(rgba[1]) && isFiniteHalf(rgba[2]) &&
              isFiniteHalf(rgba[3])))
            settleNotFinite(rgba, found);
        if (isHole(rgba[3])) continue;
        if (rgba[3] == 0 || (rgba[3] & kHalfSign)) {
            std::fill(rgba, rgba + 4, uint16_t(0));
            continue;
        }
        rgba[3] = std::min(rgba[3], kHalfOne);
        covered = true;
    }
    return found;
}

template <typename Code>
void RowConverter::lookUp(const Code* codes, size_t count, uint16_t* rgba) const {
    const uint16_t* table = table_.data();
    for (size_t i = 0; i < count; ++i, codes += span_.count, rgba += 4) {
        rgba[0] = table[codes[at_[0]]];
        rgba[1] = table[codes[at_[1]]];
        rgba[2] = table[codes[at_[2]]];
        rgba[3] = kHalfOne;
    }
}

void RowConverter::gather(const void* samples, size_t count, float* rgba) const {
    const auto spread = [&](const auto* from) {
        for (size_t i = 0; i < count; ++i, from += span_.count, rgba += 4) {
            for (int c = 0; c < 3; ++c) rgba[c] = float(from[at_[c]]);
            rgba[3] = at_[3] < 0 ? 1.0f : float(from[at_[3]]);
        }
    };
    if (read_as_ == OIIO::TypeUInt32) {
        spread(static_cast<const uint32_t*>(samples));
    } else {
        spread(static_cast<const float*>(samples));
    }
}

NotFinite RowConverter::toHalves(const void* samples, size_t count, uint16_t* rgba, bool& covered) {
    if (read_as_ == OIIO::TypeHalf) {
        return copyHalves(static_cast<const uint16_t*>(samples), count, rgba, covered);
    }
    if (!table_.empty()) {
        if (table_.size() == 256) {
            lookUp(static_cast<const uint8_t*>(samples), count, rgba);
        } else {
            lookUp(static_cast<const uint16_t*>(samples), count, rgba);
        }
        covered = true;
        return {};
    }
    row_.resize(4 * count);
    const NotFinite found = toFloats(samples, count, row_.data(), covered);
    halvesFromFloats(row_.data(), row_.size(), rgba);
    return found;
}

NotFinite RowConverter::toFloats(const void* samples, size_t count, float* rgba, bool& covered) {
    gather(samples, count, rgba);
    if (!codes_.isFull())
        for (float* pixel = rgba; pixel != rgba + 4 * count; pixel += 4)
            for (int c = 0; c < 3; ++c) pixel[c] = codes_(pixel[c]);
    const bool curved = !linearization_.isNone();
    // A curve belongs to the colour itself, not to the colour times its coverage.
    if (curved && at_[3] >= 0 && source_.alpha_associated) {
        for (float* pixel = rgba; pixel != rgba + 4 * count; pixel += 4) {
            if (pixel[3] > 0) {
                for (int c = 0; c < 3; ++c) pixel[c] /= pixel[3];
            }
        }
    }
    if (curved) linearization_.apply(rgba, count, 4);
    if (at_[3] >= 0 && (curved || !source_.alpha_associated)) {
        for (float* pixel = rgba; pixel != rgba + 4 * count; pixel += 4) {
            for (int c = 0; c < 3; ++c) pixel[c] *= pixel[3];
        }
    }
    return settle(count, rgba, covered);
}

}  // namespace plateloom::io
