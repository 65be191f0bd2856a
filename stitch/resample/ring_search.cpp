#include "stitch/resample/ring_search.h"

#include <algorithm>
#include <cmath>

#include "io/half_rows.h"

namespace plateloom::stitch {

namespace {

// Contrasts between which splitting sets in.
constexpr double kContrast = 6, kFullContrast = 9.5;
// How far below nothing the short sinc falls, as a share of the largest of its six samples.
constexpr float kBelow = 0.055f, kFullBelow = 0.083f;
// A sample that is hardly dark counts as `1 / strength^3` times as bright. Kept as kFull less that,
// in steps; what would be 0 or less is left out.
constexpr LightSteps kFull = 512;
constexpr float kLeastCover = 0.01f;

LightSteps markOf(double strength) {
    if (strength <= 0) return 0;
    const double rise = -3 * std::log2(std::min(1.0, strength)) * kStepsPerOctave;
    return LightSteps(std::max(0.0, kFull - rise));
}

LightSteps stepsOfRatio(double ratio) {
    return LightSteps(std::lround(std::log2(ratio) * kStepsPerOctave));
}

// Largest value in the blocks that a filter reaches from this one.
float highAround(const PlateRanges& ranges, int bx, int by, size_t c) {
    float high = 0;
    for (int y = std::max(0, by - 1); y <= std::min(by + 1, ranges.down - 1); ++y)
        for (int x = std::max(0, bx - 1); x <= std::min(bx + 1, ranges.across - 1); ++x)
            high = std::max(high, ranges.at(x, y).high[c]);
    return high;
}

// Half covered pixels hold less than their colour: such a block may hold any contrast.
bool mayRing(const PlateRanges& ranges, int bx, int by, const std::array<float, 4>& lift) {
    const BlockRange& here = ranges.at(bx, by);
    if (here.most_alpha < 1) return false;
    if (here.least_alpha < 1) return true;
    for (size_t c = 0; c < 3; ++c)
        if (highAround(ranges, bx, by, c) + lift[c] > float(kContrast) * (here.low[c] + lift[c]))
            return true;
    return false;
}

// The search over one part of a plate at a time.
class Search {
public:
    Search(const PlateCells& cells, LightSteps brightest, SparseSteps& found)
        : cells_(cells),
          brightest_(brightest),
          found_(found),
          reach_(cells.fromOutput(4)),
          near_(std::max(1, int(2 * cells.perOutput()))),
          spread_(cells.fromOutput(5)),
          least_(stepsOfRatio(kContrast)) {
        for (int i = 0; i < kGrades; ++i) {
            const double ratio = std::exp2(double(least_ + i) / kStepsPerOctave);
            grade_[size_t(i)] = markOf((ratio - kContrast) / (kFullContrast - kContrast));
        }
    }

    // Cells [x0, x1) x [y0, y1).
    void run(int x0, int y0, int x1, int y1) {
        // Half of the short sinc besides: 3.
        const int margin = std::max(reach_, 3) + spread_;
        const int width = x1 - x0 + 2 * margin, height = y1 - y0 + 2 * margin;
        cells_.fetch(x0 - margin, y0 - margin, width, height, bright_, dark_);
        largestWithin(bright_, reach_, all_);
        if (!anyContrast()) return;
        largestWithin(bright_, near_, middle_);
        if (!mark()) return;
        largestWithin(marks_, spread_, all_);
        for (int y = y0; y < y1; ++y)
            keep(x0, y, x1 - x0, all_.row(y - y0 + margin) + size_t(margin) * 4,
                 dark_.row(y - y0 + margin) + size_t(margin) * 4);
    }

private:
    static constexpr int kGrades = 96;

    [[nodiscard]] bool anyContrast() const {
        int most = 0;
        for (size_t i = 0; i < all_.value.size(); ++i)
            most = std::max<int>(most, all_.value[i] - dark_.value[i]);
        return most >= least_;
    }

    bool mark() {
        marks_.resize(bright_.width, bright_.height);
        std::fill(marks_.value.begin(), marks_.value.end(), LightSteps(0));
        bool any = false;
        for (int y = 3; y < bright_.height - 3; ++y) {
            const LightSteps* all = all_.row(y);
            const LightSteps* dark = dark_.row(y);
            for (int i = 3 * 4; i < (bright_.width - 3) * 4; ++i) {
                // Channel 3 says what is not opaque: never far above itself.
                if (all[i] - dark[i] < least_ || middle_.row(y)[i | 3] == kMostSteps) continue;
                const int contrast = all[i] - middle_.row(y)[i];
                if (contrast >= least_)
                    raise(i, y, grade_[size_t(std::min(contrast - least_, kGrades - 1))]);
                markGap(i, y, 4);
                markGap(i, y, bright_.width * 4);
                any = true;
            }
        }
        return any;
    }

    void raise(int i, int y, LightSteps mark) {
        LightSteps& here = marks_.row(y)[i];
        here = std::max(here, mark);
    }

    // The sinc of 6 taps midway between this sample and the next, as of the binomial weights'
    // interpolation: 150, -25 and 3 parts of 256.
    void markGap(int i, int y, int step) {
        const LightSteps* at = dark_.row(y) + i;
        float v[6], most = 0;
        for (int k = 0; k < 6; ++k) {
            const LightSteps steps = at[(k - 2) * step];
            if (steps == kMostSteps) return;
            v[k] = lightOf(steps);
            most = std::max(most, v[k]);
        }
        const float value = (150 * (v[2] + v[3]) - 25 * (v[1] + v[4]) + 3 * (v[0] + v[5])) / 256;
        if (value > -kBelow * most) return;
        const LightSteps mark = markOf((-value / most - kBelow) / (kFullBelow - kBelow));
        raise(i, y, mark);
        marks_.value[size_t(&marks_.row(y)[i] - marks_.value.data()) + size_t(step)] = std::max(
            marks_.value[size_t(&marks_.row(y)[i] - marks_.value.data()) + size_t(step)], mark);
    }

    void keep(int x, int y, int count, const LightSteps* mark, const LightSteps* dark) {
        LightSteps* to = found_.at(x, y);
        for (int i = 0; i < count * 4; ++i) {
            if (mark[i] == 0 || dark[i] == kMostSteps || (i & 3) == 3) continue;
            const int value = brightest_ - dark[i] - (kFull - mark[i]);
            if (value <= 0) continue;
            to[i] = LightSteps(value);
            found_.touched((x + i / 4) / SparseSteps::kTile, y / SparseSteps::kTile) = 1;
        }
    }

    const PlateCells& cells_;
    LightSteps brightest_;
    SparseSteps& found_;
    int reach_, near_, spread_, least_;
    std::array<LightSteps, kGrades> grade_{};
    StepPlane bright_, dark_, all_, middle_, marks_;
};

}  // namespace

PlateCells::PlateCells(const io::PlatePixels& plate, double scale)
    : plate_(plate), scale_(std::max(1.0, scale)), side_(int(scale_)) {}

int PlateCells::fromOutput(double output_px) const {
    return int(std::ceil(output_px * perOutput()));
}

void PlateCells::setLift(const std::array<float, 3>& lift) {
    std::copy(lift.begin(), lift.end(), lift_.begin());
}

void PlateCells::readLight(int x, int y, int count, float* light) const {
    const size_t at = (size_t(y) * size_t(plate_.width) + size_t(x)) * 4;
    if (plate_.isHalf())
        io::floatsFromHalves(&plate_.half[at], size_t(count) * 4, light);
    else
        std::copy_n(&plate_.full[at], size_t(count) * 4, light);
    float least = 1, most = 1;
    for (int i = 0; i < count; ++i) {
        least = std::min(least, light[4 * i + 3]);
        most = std::max(most, light[4 * i + 3]);
    }
    if (least == 1 && most == 1) {
        for (int i = 0; i < count * 4; i += 4)
            for (int c = 0; c < 4; ++c)
                light[i + c] = std::max(light[i + c], -2 * light[i + c]) + lift_[size_t(c)];
        return;
    }
    for (int i = 0; i < count * 4; i += 4) {
        const float alpha = light[i + 3];
        for (int c = 0; c < 3; ++c) {
            const float value = light[i + c];
            light[i + c] =
                alpha > kLeastCover ? std::max(value, -2 * value) / alpha + lift_[size_t(c)] : 0;
        }
    }
}

void PlateCells::fetch(int x0, int y0, int width, int height, StepPlane& bright,
                       StepPlane& dark) const {
    bright.resize(width, height);
    dark.resize(width, height);
    std::fill(bright.value.begin(), bright.value.end(), LightSteps(0));
    std::fill(dark.value.begin(), dark.value.end(), kMostSteps);
    const int first = std::max(0, x0), last = std::min(x0 + width, across());
    if (first >= last) return;
    const int left = first * side_, right = std::min(last * side_, plate_.width);
    std::vector<float> light(size_t(right - left) * 4);
    for (int y = std::max(0, -y0); y < std::min(height, down() - y0); ++y) {
        const int bottom = std::min((y0 + y + 1) * side_, plate_.height);
        for (int py = (y0 + y) * side_; py < bottom; ++py) {
            readLight(left, py, right - left, light.data());
            include(light.data(), right - left, bright.row(y) + size_t(first - x0) * 4,
                    dark.row(y) + size_t(first - x0) * 4);
        }
    }
}

void PlateCells::include(const float* light, int count, LightSteps* bright,
                         LightSteps* dark) const {
    for (int i = 0, in_cell = 0; i < count; ++i, light += 4) {
        LightSteps* most = bright;
        LightSteps* least = dark;
        const bool is_open = light[3] < 1;
        if (++in_cell == side_) {
            in_cell = 0;
            bright += 4;
            dark += 4;
        }
        for (int c = 0; c < 3; ++c) {
            const LightSteps steps = stepsOf(light[c]);
            most[c] = std::max(most[c], steps);
            if (!is_open) least[c] = std::min(least[c], steps);
        }
        if (is_open) most[3] = kMostSteps;
    }
}

bool anyContrast(const PlateRanges& ranges, const std::array<float, 4>& lift) {
    for (int by = 0; by < ranges.down; ++by)
        for (int bx = 0; bx < ranges.across; ++bx)
            if (mayRing(ranges, bx, by, lift)) return true;
    return false;
}

void findDarkSamples(const PlateCells& cells, const PlateRanges& ranges, int block,
                     LightSteps brightest, SparseSteps& found) {
    // The smallest rectangle of blocks with contrast in each group of 8 x 8.
    constexpr int kGroup = 8;
    Search search(cells, brightest, found);
    for (int gy = 0; gy < ranges.down; gy += kGroup)
        for (int gx = 0; gx < ranges.across; gx += kGroup) {
            int x0 = ranges.across, y0 = ranges.down, x1 = 0, y1 = 0;
            for (int by = gy; by < std::min(gy + kGroup, ranges.down); ++by)
                for (int bx = gx; bx < std::min(gx + kGroup, ranges.across); ++bx) {
                    if (!mayRing(ranges, bx, by, cells.lift())) continue;
                    x0 = std::min(x0, bx);
                    x1 = std::max(x1, bx + 1);
                    y0 = std::min(y0, by);
                    y1 = std::max(y1, by + 1);
                }
            if (x0 >= x1) continue;
            search.run(x0 * block, y0 * block, std::min(x1 * block, cells.across()),
                       std::min(y1 * block, cells.down()));
        }
}

}  // namespace plateloom::stitch
