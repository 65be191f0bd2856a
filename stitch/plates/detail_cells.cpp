#include "stitch/plates/detail_cells.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "io/half_rows.h"

namespace plateloom::stitch {

namespace {

constexpr float kRedShare = 0.25f, kGreenShare = 0.60f, kBlueShare = 0.15f;
constexpr float kBelowClip = 0.98f;
constexpr int kCellsAcross = 64, kCoarse_px = 4;
// Energy of the second difference along both axes (the 3 x 3 mask of Immerkaer, Fast Noise Variance
// Estimation, Computer Vision and Image Understanding 64(2), 1996) over that of a plain difference.
// Noise that differs from pixel to pixel has 36 / 2; noise of a camera that interpolates its
// colours from a mosaic 4 (bilinear, simulated); detail that a lens has drawn has 0 to 1.4 at 4
// pixels a period and ever less of what is coarser.
constexpr float kMixedOfNoise = 4;
constexpr int kNotCounted =
    MarkedPixels::clipped | MarkedPixels::no_picture;  // nor does the cell it lies in

float atShare(std::vector<float> values, double share) {
    if (values.empty()) return 0;
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

// What the cell's differences come to; the last columns and rows have no neighbour to the right
// or below and lean on the cell's own.
// `marked` holds the cell's rows, from row `y0` of it on, and the few below that there are.
void measureCell(const MarkedPixels& marked, int x0, int y0, int x1, int y1, size_t at,
                 DetailCells& cells) {
    double light = 0, fine = 0, coarse = 0, mixed = 0;
    int pixels = 0, differences = 0;
    for (int y = y0; y < y1; ++y) {
        const float* row = marked.light.ptr<float>(y);
        const float* below = marked.light.ptr<float>(std::min(y + 1, marked.light.rows - 1));
        const float* far = marked.light.ptr<float>(std::min(y + kCoarse_px, marked.light.rows - 1));
        const uint8_t* mark = marked.mark.ptr<uint8_t>(y);
        const float* below2 = marked.light.ptr<float>(std::min(y + 2, marked.light.rows - 1));
        float row_light = 0, row_fine = 0, row_coarse = 0, row_mixed = 0;
        for (int x = x0; x < x1; ++x) {
            if (mark[x] & kNotCounted) return;
            row_light += row[x];
            const float right = row[x + 1] - row[x], down = below[x] - row[x];
            const float far_right = row[x + kCoarse_px] - row[x], far_down = far[x] - row[x];
            row_fine += right * right + down * down;
            row_coarse += far_right * far_right + far_down * far_down;
            const auto bend = [x](const float* r) { return r[x] - 2 * r[x + 1] + r[x + 2]; };
            const float twice = bend(row) - 2 * bend(below) + bend(below2);
            row_mixed += twice * twice;
        }
        light += double(row_light);
        fine += double(row_fine);
        coarse += double(row_coarse);
        mixed += double(row_mixed);
        pixels += x1 - x0;
        differences += 2 * (x1 - x0);
    }
    cells.light[at] = float(std::max(0.0, light / pixels));
    cells.fine[at] = float(fine / differences);
    cells.coarse[at] = float(coarse / differences);
    cells.grain[at] = std::min(cells.fine[at], float(mixed / pixels) / kMixedOfNoise);
}

// Noise of cells as bright as each one: smooth places are among them, and the calmest tenth of a
// stop of brightness holds little else.
void takeOffNoise(DetailCells& cells) {
    constexpr int kStops = 24;
    const auto stopOf = [](float light) {
        return std::clamp(int(std::floor(std::log2(std::max(light, 1e-6f)))) + 16, 0, kStops - 1);
    };
    std::vector<std::vector<float>> of_stop(kStops);
    for (size_t i = 0; i < cells.light.size(); ++i)
        if (cells.light[i] >= 0) of_stop[size_t(stopOf(cells.light[i]))].push_back(cells.grain[i]);
    std::vector<float> noise(kStops, 0);
    for (int s = 0; s < kStops; ++s) {
        constexpr size_t kEnough = 12;
        // Few cells say nothing of noise; brighter ones have at least as much as darker ones.
        noise[size_t(s)] = of_stop[size_t(s)].size() >= kEnough
                               ? atShare(of_stop[size_t(s)], 0.1)
                               : (s > 0 ? noise[size_t(s) - 1] : 0);
    }
    for (size_t i = 0; i < cells.light.size(); ++i) {
        if (cells.light[i] < 0) continue;
        cells.noise[i] = noise[size_t(stopOf(cells.light[i]))];
        cells.fine[i] = std::max(0.0f, cells.fine[i] - cells.noise[i]);
        cells.coarse[i] = std::max(0.0f, cells.coarse[i] - cells.noise[i]);
    }
}

DetailCells cellsFor(int width, int height, int cell) {
    DetailCells cells;
    cells.columns = (width - kCoarse_px) / cell;
    cells.rows = height / cell;
    cells.step_x = double(cell) / width;
    cells.step_y = double(cell) / height;
    if (cells.columns < 1 || cells.rows < 1) return {};
    const size_t count = size_t(cells.columns) * size_t(cells.rows);
    cells.light.assign(count, -1.0f);
    cells.fine.assign(count, 0.0f);
    cells.coarse.assign(count, 0.0f);
    cells.grain.assign(count, 0.0f);
    cells.noise.assign(count, 0.0f);
    return cells;
}

int cellSize(int width) {
    return std::max(8, width / kCellsAcross);
}

void measureRow(const MarkedPixels& marked, int y0, int row, int cell, DetailCells& cells) {
    for (int i = 0; i < cells.columns; ++i)
        measureCell(marked, i * cell, y0, (i + 1) * cell, y0 + cell, cells.at(i, row), cells);
}

}  // namespace

MarkedPixels markPixels(const io::PlatePixels& pixels, int first_row, int rows) {
    const int width = pixels.width;
    MarkedPixels out;
    out.light.create(rows, width, CV_32F);
    out.mark.create(rows, width, CV_8U);
    const float clip = pixels.clip_level > 0 ? pixels.clip_level * kBelowClip
                                             : std::numeric_limits<float>::infinity();
    // Fourteen stops below white nothing was recorded but the lens's own flare (common practice).
    const float black_level = std::isfinite(clip) ? clip / 16384 : 1.0f / 16384;
    const size_t values = size_t(width) * 4;
    std::vector<float> row(pixels.isHalf() ? values : 0);
    for (int y = 0; y < rows; ++y) {
        const size_t from = size_t(first_row + y) * values;
        if (pixels.isHalf()) io::floatsFromHalves(&pixels.half[from], values, row.data());
        const float* p = pixels.isHalf() ? row.data() : &pixels.full[from];
        float* light = out.light.ptr<float>(y);
        uint8_t* mark = out.mark.ptr<uint8_t>(y);
        size_t clipped = 0, black = 0, picture = 0;
        for (int x = 0; x < width; ++x, p += 4) {
            light[x] = kRedShare * p[0] + kGreenShare * p[1] + kBlueShare * p[2];
            const float most = std::max(p[0], std::max(p[1], p[2]));
            const bool is_picture = p[3] > 0.5f, is_clipped = most >= clip,
                       is_black = most <= black_level;
            mark[x] = uint8_t(is_picture ? MarkedPixels::clipped * is_clipped +
                                               MarkedPixels::black * is_black
                                         : MarkedPixels::no_picture);
            picture += is_picture;
            clipped += is_picture && is_clipped;
            black += is_picture && is_black;
        }
        out.clipped_count += clipped;
        out.black_count += black;
        out.picture_count += picture;
    }
    return out;
}

DetailCells detailCells(const io::PlatePixels& pixels) {
    const int cell = cellSize(pixels.width);
    DetailCells cells = cellsFor(pixels.width, pixels.height, cell);
    for (int row = 0; row < cells.rows; ++row) {
        const int y = row * cell;
        measureRow(markPixels(pixels, y, std::min(cell + kCoarse_px, pixels.height - y)), 0, row,
                   cell, cells);
    }
    takeOffNoise(cells);
    return cells;
}

DetailCells detailCells(const MarkedPixels& whole) {
    const int cell = cellSize(whole.light.cols);
    DetailCells cells = cellsFor(whole.light.cols, whole.light.rows, cell);
    for (int row = 0; row < cells.rows; ++row) measureRow(whole, row * cell, row, cell, cells);
    takeOffNoise(cells);
    return cells;
}

}  // namespace plateloom::stitch
