#include "stitch/resample/light_steps.h"

#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <new>

namespace plateloom::stitch {

namespace {

// The four channels of a place in one register.
using Four [[gnu::vector_size(8)]] = LightSteps;

Four load(const LightSteps* at) {
    Four four;
    std::memcpy(&four, at, sizeof four);
    return four;
}
void store(Four four, LightSteps* at) {
    std::memcpy(at, &four, sizeof four);
}
bool isNothing(Four four) {
    return std::bit_cast<uint64_t>(four) == 0;
}

void largerOf(const LightSteps* a, const LightSteps* b, int count, LightSteps* out) {
    for (int i = 0; i < count; ++i) out[i] = std::max(a[i], b[i]);
}

bool isNothing(const LightSteps* values, int count) {
    LightSteps any = 0;
    for (int i = 0; i < count; ++i) any = LightSteps(any | values[i]);
    return any == 0;
}

}  // namespace

void largestWithin(const StepPlane& plane, int reach, StepPlane& out) {
    const int length = 2 * reach + 1, w = plane.width, h = plane.height;
    out.resize(w, h);
    // Along x: `padded` begins `reach` places before the row.
    std::vector<LightSteps> padded(size_t(w + 2 * reach) * 4);
    for (int y = 0; y < h; ++y) {
        std::fill(padded.begin(), padded.end(), LightSteps(0));
        std::copy_n(plane.row(y), w * 4, padded.begin() + ptrdiff_t(reach) * 4);
        int count = w + 2 * reach, done = 1;
        for (; 2 * done <= length; done *= 2) {
            count -= done;
            largerOf(padded.data(), padded.data() + done * 4, count * 4, padded.data());
        }
        largerOf(padded.data(), padded.data() + (length - done) * 4, w * 4, out.row(y));
    }
    // Along y: rows as a whole.
    StepPlane rows;
    rows.resize(w, h + 2 * reach);
    std::fill(rows.value.begin(), rows.value.end(), LightSteps(0));
    std::copy(out.value.begin(), out.value.end(), rows.row(reach));
    int count = rows.height, done = 1;
    for (; 2 * done <= length; done *= 2) {
        count -= done;
        for (int y = 0; y < count; ++y)
            largerOf(rows.row(y), rows.row(y + done), w * 4, rows.row(y));
    }
    for (int y = 0; y < h; ++y)
        largerOf(rows.row(y), rows.row(y + length - done), w * 4, out.row(y));
}

void SparseSteps::Free::operator()(LightSteps* pointer) const {
    std::free(pointer);
}

// calloc: pages that nobody touches are never made.
SparseSteps::SparseSteps(int width, int height)
    : width_(width),
      height_(height),
      value_(static_cast<LightSteps*>(
          std::calloc(size_t(width) * size_t(height) * 4, sizeof(LightSteps)))),
      touched_(size_t(across()) * size_t(down())) {
    if (!value_) throw std::bad_alloc();
}

void SparseSteps::spread(LightSteps fall) {
    for (const bool backward : {false, true})
        for (int y = 0; y < height_; ++y) spreadAlongRow(y, fall, backward);
    for (const bool upward : {false, true})
        for (int tx = 0; tx < across(); ++tx) spreadAlongColumns(tx, fall, upward);
}

void SparseSteps::spreadAlongRow(int y, LightSteps fall, bool backward) {
    const Four less = {fall, fall, fall, fall};
    const int step = backward ? -1 : 1;
    Four carry = {0, 0, 0, 0};
    for (int i = 0; i < across(); ++i) {
        const int tx = backward ? across() - 1 - i : i;
        char& touched = this->touched(tx, y / kTile);
        if (!touched && isNothing(carry)) continue;
        const int first = tx * kTile, count = std::min(kTile, width_ - first);
        LightSteps* at = this->at(backward ? first + count - 1 : first, y);
        for (int x = 0; x < count; ++x, at += 4 * step) {
            const Four here = load(at), fallen = carry - less;
            carry = here > fallen ? here : fallen;
            store(carry, at);
        }
        touched = 1;
    }
}

void SparseSteps::spreadAlongColumns(int tx, LightSteps fall, bool upward) {
    const int first = tx * kTile, values = std::min(kTile, width_ - first) * 4;
    LightSteps carry[kTile * 4] = {};
    for (int i = 0; i < down(); ++i) {
        const int ty = upward ? down() - 1 - i : i;
        char& touched = this->touched(tx, ty);
        if (!touched && isNothing(carry, values)) continue;
        const int y0 = ty * kTile, rows = std::min(kTile, height_ - y0);
        for (int j = 0; j < rows; ++j) {
            LightSteps* row = at(first, upward ? y0 + rows - 1 - j : y0 + j);
            for (int k = 0; k < values; ++k) {
                const LightSteps fallen = LightSteps(carry[k] - fall);
                carry[k] = std::max(row[k], fallen);
                row[k] = carry[k];
            }
        }
        touched = 1;
    }
}

}  // namespace plateloom::stitch
