// Light counted in equal ratios, for searches that compare contrasts: 128 steps to a factor of 2,
// as the upper half of a float's bits counts them (within a factor of 2 the steps are linear, which
// a search does not mind). Sixteen bits, so that eight go into a register of any x86-64 processor.
#pragma once

#include <bit>
#include <cstdint>
#include <memory>
#include <vector>

namespace plateloom::stitch {

using LightSteps = int16_t;

inline constexpr int kStepsPerOctave = 128;
inline constexpr LightSteps kMostSteps = 0x7fff;

/// Of light that is not negative; 0 for none.
[[nodiscard]] inline LightSteps stepsOf(float light) {
    return LightSteps(std::bit_cast<uint32_t>(light) >> 16);
}
[[nodiscard]] inline float lightOf(LightSteps steps) {
    return std::bit_cast<float>(uint32_t(uint16_t(steps)) << 16 | 0x8000u);
}

/// Four channels a place, row by row.
struct StepPlane {
    int width = 0, height = 0;
    std::vector<LightSteps> value;

    void resize(int w, int h) {
        width = w;
        height = h;
        value.resize(size_t(w) * size_t(h) * 4);
    }
    [[nodiscard]] LightSteps* row(int y) { return &value[size_t(y) * size_t(width) * 4]; }
    [[nodiscard]] const LightSteps* row(int y) const {
        return &value[size_t(y) * size_t(width) * 4];
    }
};

/// The largest within `reach` along both axes, of `plane` into `out`; beyond the plane is nothing.
/// Windows of twice the length are made of two, so that a reach costs its logarithm.
void largestWithin(const StepPlane& plane, int reach, StepPlane& out);

/// A plane as large as the plate, of which only what is touched takes memory. 0 stands for nothing.
/// `touched` says which tiles of 64 x 64 places hold anything.
class SparseSteps {
public:
    static constexpr int kTile = 64;

    SparseSteps(int width, int height);

    [[nodiscard]] int across() const { return (width_ + kTile - 1) / kTile; }
    [[nodiscard]] int down() const { return (height_ + kTile - 1) / kTile; }
    [[nodiscard]] LightSteps* at(int x, int y) {
        return value_.get() + (size_t(y) * size_t(width_) + size_t(x)) * 4;
    }
    [[nodiscard]] char& touched(int tx, int ty) {
        return touched_[size_t(ty) * size_t(across()) + size_t(tx)];
    }
    /// Each place becomes the largest of all places' values less `fall` for each step along x or y
    /// between them.
    void spread(LightSteps fall);

private:
    struct Free {
        void operator()(LightSteps* pointer) const;
    };

    void spreadAlongRow(int y, LightSteps fall, bool backward);
    void spreadAlongColumns(int tx, LightSteps fall, bool upward);

    int width_, height_;
    std::unique_ptr<LightSteps[], Free> value_;
    std::vector<char> touched_;
};

}  // namespace plateloom::stitch
