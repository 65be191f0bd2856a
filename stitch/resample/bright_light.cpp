#include "stitch/resample/bright_light.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "stitch/resample/plate_ranges.h"
#include "stitch/resample/ring_search.h"

namespace plateloom::stitch {

namespace {

constexpr int kBlock = 8;  // cells
// By what the ordinary part's envelope grows an output pixel.
constexpr double kGrowth = 1.4;
// Less than this share of the light is not taken out: the steps' own size.
constexpr float kLeastShare = 0.01f;

// The envelope's share x of the light as the ordinary part's: near x where it is small, 1 without a
// kink where it is 1.
float joined(float x) {
    constexpr float kJoin = 0.25f;
    const float x2 = x * x;
    return (1 + kJoin) * x - kJoin * x2 * x2 * x;
}

LightSteps brightestOf(const PlateRanges& ranges, const std::array<float, 4>& lift) {
    float high = 0;
    for (const BlockRange& block : ranges.block)
        for (size_t c = 0; c < 3; ++c) high = std::max(high, block.high[c] + lift[c]);
    return LightSteps(std::min(kMostSteps - 1, stepsOf(high) + 1));
}

class Split {
public:
    Split(const io::PlatePixels& plate, const PlateCells& cells, LightSteps brightest,
          SparseSteps& dark)
        : plate_(plate), cells_(cells), brightest_(brightest), dark_(dark) {}

    std::shared_ptr<BrightLight> run() {
        out_->across = (plate_.width + kTile - 1) / kTile;
        out_->down = (plate_.height + kTile - 1) / kTile;
        out_->tile.assign(size_t(out_->across) * size_t(out_->down), -1);
        for (int ty = 0; ty < dark_.down(); ++ty)
            for (int tx = 0; tx < dark_.across(); ++tx)
                if (dark_.touched(tx, ty)) splitTile(tx, ty);
        if (out_->value.empty()) return nullptr;
        return out_;
    }

private:
    static constexpr int kTile = BrightLight::kTile;

    void splitTile(int tx, int ty) {
        const int size = SparseSteps::kTile * cells_.side();
        const int x0 = tx * size, x1 = std::min(x0 + size, plate_.width);
        light_.resize(size_t(x1 - x0) * 4);
        for (int y = ty * size; y < std::min((ty + 1) * size, plate_.height); ++y) {
            cells_.readLight(x0, y, x1 - x0, light_.data());
            splitRow(x0, y, x1 - x0);
        }
    }

    void splitRow(int x0, int y, int count) {
        const LightSteps* dark = dark_.at(x0 / cells_.side(), y / cells_.side());
        for (int i = 0, in_cell = 0; i < count; ++i) {
            const float* light = &light_[size_t(i) * 4];
            const LightSteps* here = dark;
            if (++in_cell == cells_.side()) {
                in_cell = 0;
                dark += 4;
            }
            for (int c = 0; c < 3; ++c)
                if (here[c] > 0 && stepsOf(light[c]) > brightest_ - here[c])
                    split(x0 + i, y, c, light[c], lightOf(LightSteps(brightest_ - here[c])));
        }
    }

    void split(int x, int y, int c, float light, float envelope) {
        float rgba[4];
        plate_.read(x, y, rgba);
        const float excess = light - joined(std::min(1.0f, envelope / light)) * light;
        if (!(rgba[c] > 0) || excess < kLeastShare * light) return;
        int32_t& tile = out_->tile[size_t(y / kTile) * size_t(out_->across) + size_t(x / kTile)];
        if (tile < 0) {
            tile = int32_t(out_->value.size() / size_t(BrightLight::kTileValues));
            out_->value.resize(out_->value.size() + size_t(BrightLight::kTileValues));
        }
        out_->value[size_t(tile) * size_t(BrightLight::kTileValues) +
                    size_t((y % kTile * kTile + x % kTile) * 4 + c)] = excess * rgba[3];
    }

    const io::PlatePixels& plate_;
    const PlateCells& cells_;
    LightSteps brightest_;
    SparseSteps& dark_;
    std::vector<float> light_;
    std::shared_ptr<BrightLight> out_ = std::make_shared<BrightLight>();
};

}  // namespace

bool BrightLight::isIn(int x0, int y0, int x1, int y1) const {
    const int tx1 = std::min((x1 - 1) / kTile, across - 1);
    const int ty1 = std::min((y1 - 1) / kTile, down - 1);
    for (int ty = std::max(0, y0 / kTile); ty <= ty1; ++ty)
        for (int tx = std::max(0, x0 / kTile); tx <= tx1; ++tx)
            if (tileAt(tx, ty)) return true;
    return false;
}

void BrightLight::subtract(int x0, int y0, int width, int height, float* rgba) const {
    for (int ty = y0 / kTile; ty <= (y0 + height - 1) / kTile; ++ty)
        for (int tx = x0 / kTile; tx <= (x0 + width - 1) / kTile; ++tx) {
            const float* values = tileAt(tx, ty);
            if (!values) continue;
            for (int y = std::max(y0, ty * kTile); y < std::min(y0 + height, (ty + 1) * kTile); ++y)
                for (int x = std::max(x0, tx * kTile); x < std::min(x0 + width, (tx + 1) * kTile);
                     ++x)
                    for (int c = 0; c < 3; ++c)
                        rgba[(ptrdiff_t(y - y0) * width + (x - x0)) * 4 + c] -=
                            values[((y - ty * kTile) * kTile + (x - tx * kTile)) * 4 + c];
        }
}

std::shared_ptr<const BrightLight> findBright(const io::PlatePixels& plate, double scale) {
    PlateCells cells(plate, scale);
    const PlateRanges ranges = plateRanges(plate, kBlock * cells.side());
    // The noise floor only lessens contrasts.
    if (!anyContrast(ranges, cells.lift())) return nullptr;
    cells.setLift(noiseLift(plate, ranges));
    const LightSteps brightest = brightestOf(ranges, cells.lift());
    SparseSteps dark(cells.across(), cells.down());
    findDarkSamples(cells, ranges, kBlock, brightest, dark);
    dark.spread(LightSteps(std::lround(std::log2(kGrowth) * kStepsPerOctave / cells.perOutput())));
    return Split(plate, cells, brightest, dark).run();
}

}  // namespace plateloom::stitch
