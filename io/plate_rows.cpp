#include "io/plate_rows.h"

#include <algorithm>
#include <cmath>

#include "io/half_rows.h"

namespace plateloom::io {

namespace {

constexpr uint16_t kHalfOne = 0x3c00, kHalfExponent = 0x7c00, kHalfSign = 0x8000;

bool isFiniteHalf(uint16_t bits) {
    return (bits & kHalfExponent) != kHalfExponent;
}

// Linear halves of all code values. Half keeps 11 bits of every value above 6e-5, finer than the
// noise of any sensor at that level, so 16-bit code values lose nothing that was recorded.
std::vector<uint16_t> tableOf(const Linearization& linearization, size_t size) {
    std::vector<uint16_t> table(size);
    for (size_t code = 0; code < size; ++code) {
        table[code] = halfFromFloat(linearization(float(code) / float(size - 1)));
    }
    return table;
}

// Alpha is coverage, 0 to 1; where nothing covers there is no colour either; what is not finite
// covers nothing.
size_t settle(size_t count, float* rgba, bool& covered) {
    size_t bad = 0;
    for (float* pixel = rgba; pixel != rgba + 4 * count; pixel += 4) {
        // A sum is finite only if all of its terms are (and the few whose sum overflows are not
        // light that anything recorded).
        const bool finite = std::isfinite(pixel[0] + pixel[1] + pixel[2] + pixel[3]);
        bad += !finite;
        const float alpha = finite ? std::min(pixel[3], 1.0f) : 0.0f;
        if (alpha > 0) {
            pixel[3] = alpha;
            covered = true;
        } else {
            std::fill(pixel, pixel + 4, 0.0f);
        }
    }
    return bad;
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
            table_ = tableOf(linearization_, read_as_ == OIIO::TypeUInt8 ? 256 : 65536);
            break;
        case OIIO::TypeDesc::UINT32:
            // OpenEXR's integers are numbers, not parts of full scale.
            if (source.kind == FileKind::exr) read_as_ = OIIO::TypeUInt32;
            break;
        default:
            break;
    }
}

size_t RowConverter::copyHalves(const uint16_t* samples, size_t count, uint16_t* rgba,
                                bool& covered) const {
    size_t bad = 0;
    for (size_t i = 0; i < count; ++i, samples += span_.count, rgba += 4) {
        const uint16_t r = samples[at_[0]], g = samples[at_[1]], b = samples[at_[2]];
        uint16_t a = at_[3] < 0 ? kHalfOne : samples[at_[3]];
        const bool finite =
            isFiniteHalf(r) && isFiniteHalf(g) && isFiniteHalf(b) && isFiniteHalf(a);
        bad += !finite;
        if (!finite || a == 0 || (a & kHalfSign)) {
            rgba[0] = rgba[1] = rgba[2] = rgba[3] = 0;
            continue;
        }
        covered = true;
        rgba[0] = r;
        rgba[1] = g;
        rgba[2] = b;
        rgba[3] = std::min(a, kHalfOne);
    }
    return bad;
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

size_t RowConverter::toHalves(const void* samples, size_t count, uint16_t* rgba, bool& covered) {
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
        return 0;
    }
    row_.resize(4 * count);
    const size_t bad = toFloats(samples, count, row_.data(), covered);
    halvesFromFloats(row_.data(), row_.size(), rgba);
    return bad;
}

size_t RowConverter::toFloats(const void* samples, size_t count, float* rgba, bool& covered) {
    gather(samples, count, rgba);
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
