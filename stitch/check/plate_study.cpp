#include "stitch/check/plate_study.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace plateloom::stitch {

namespace {

constexpr float kRed = 0.25f, kGreen = 0.60f, kBlue = 0.15f;
constexpr float kClipMargin = 0.98f;
constexpr int kCellsAcross = 64, kCoarse_px = 4;

float quantile(std::vector<float> values, double share) {
    if (values.empty()) return 0;
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

// The plate as float RGBA, without a copy where it is kept so.
cv::Mat floatPixels(const io::PlatePixels& pixels) {
    if (!pixels.isHalf())
        return {pixels.height, pixels.width, CV_32FC4, const_cast<float*>(pixels.full.data())};
    const cv::Mat half(pixels.height, pixels.width * 4, CV_16F,
                       const_cast<uint16_t*>(pixels.half.data()));
    cv::Mat full;
    half.convertTo(full, CV_32F);
    return full.reshape(4);
}

// Luminance, and a mark on pixels that are clipped (1), black (2), or no picture (4).
struct Marked {
    cv::Mat light, mark;
    size_t clipped = 0, crushed = 0, picture = 0;
};

Marked markPixels(const cv::Mat& rgba, float clip_level) {
    Marked out{cv::Mat(rgba.size(), CV_32F), cv::Mat(rgba.size(), CV_8U), 0, 0, 0};
    const float clip =
        clip_level > 0 ? clip_level * kClipMargin : std::numeric_limits<float>::infinity();
    // Fourteen stops below white nothing was recorded but the lens's own flare (common practice).
    const float black = std::isfinite(clip) ? clip / 16384 : 1.0f / 16384;
    for (int y = 0; y < rgba.rows; ++y) {
        const auto* p = rgba.ptr<float>(y);
        float* light = out.light.ptr<float>(y);
        uint8_t* mark = out.mark.ptr<uint8_t>(y);
        size_t clipped = 0, crushed = 0, picture = 0;
        for (int x = 0; x < rgba.cols; ++x, p += 4) {
            light[x] = kRed * p[0] + kGreen * p[1] + kBlue * p[2];
            const float most = std::max(p[0], std::max(p[1], p[2]));
            const bool is_picture = p[3] > 0.5f, is_clipped = most >= clip,
                       is_black = most <= black;
            mark[x] = uint8_t(is_picture ? is_clipped + 2 * is_black : 4);
            picture += is_picture;
            clipped += is_picture && is_clipped;
            crushed += is_picture && is_black;
        }
        out.clipped += clipped;
        out.crushed += crushed;
        out.picture += picture;
    }
    return out;
}

// What the cell's differences come to; the last columns and rows have no neighbour to the right
// or below and lean on the cell's own.
void measureCell(const Marked& marked, int x0, int y0, int x1, int y1, size_t at,
                 DetailCells& cells) {
    double light = 0, fine = 0, coarse = 0;
    int pixels = 0, differences = 0;
    for (int y = y0; y < y1; ++y) {
        const float* row = marked.light.ptr<float>(y);
        const float* below = marked.light.ptr<float>(std::min(y + 1, marked.light.rows - 1));
        const float* far = marked.light.ptr<float>(std::min(y + kCoarse_px, marked.light.rows - 1));
        const uint8_t* mark = marked.mark.ptr<uint8_t>(y);
        float row_light = 0, row_fine = 0, row_coarse = 0;
        for (int x = x0; x < x1; ++x) {
            if (mark[x] & 5) return;  // clipped or no picture: the cell does not count
            row_light += row[x];
            const float right = row[x + 1] - row[x], down = below[x] - row[x];
            const float far_right = row[x + kCoarse_px] - row[x], far_down = far[x] - row[x];
            row_fine += right * right + down * down;
            row_coarse += far_right * far_right + far_down * far_down;
        }
        light += double(row_light);
        fine += double(row_fine);
        coarse += double(row_coarse);
        pixels += x1 - x0;
        differences += 2 * (x1 - x0);
    }
    cells.light[at] = float(std::max(0.0, light / pixels));
    cells.fine[at] = float(fine / differences);
    cells.coarse[at] = float(coarse / differences);
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
        if (cells.light[i] >= 0) of_stop[size_t(stopOf(cells.light[i]))].push_back(cells.fine[i]);
    std::vector<float> noise(kStops, 0);
    for (int s = 0; s < kStops; ++s) {
        constexpr size_t kEnough = 12;
        // Few cells say nothing of noise; brighter ones have at least as much as darker ones.
        noise[size_t(s)] = of_stop[size_t(s)].size() >= kEnough
                               ? quantile(of_stop[size_t(s)], 0.1)
                               : (s > 0 ? noise[size_t(s) - 1] : 0);
    }
    for (size_t i = 0; i < cells.light.size(); ++i) {
        if (cells.light[i] < 0) continue;
        cells.noise[i] = noise[size_t(stopOf(cells.light[i]))];
        cells.fine[i] = std::max(0.0f, cells.fine[i] - cells.noise[i]);
        cells.coarse[i] = std::max(0.0f, cells.coarse[i] - cells.noise[i]);
    }
}

DetailCells detailOf(const Marked& marked) {
    const int width = marked.light.cols, height = marked.light.rows;
    const int cell = std::max(8, width / kCellsAcross);
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
    cells.noise.assign(count, 0.0f);
    for (int j = 0; j < cells.rows; ++j)
        for (int i = 0; i < cells.columns; ++i)
            measureCell(marked, i * cell, j * cell, (i + 1) * cell, (j + 1) * cell, cells.at(i, j),
                        cells);
    takeOffNoise(cells);
    return cells;
}

void addTexture(PlateStudy& study) {
    const DetailCells& cells = study.detail;
    constexpr float kTextured = 8;
    std::vector<float> ratios;
    for (size_t i = 0; i < cells.light.size(); ++i)
        if (cells.light[i] > 0 && cells.coarse[i] > kTextured * cells.noise[i] &&
            cells.coarse[i] > 1e-4f * cells.light[i] * cells.light[i])
            ratios.push_back(
                std::log(std::max(cells.fine[i], 1e-3f * cells.coarse[i]) / cells.coarse[i]));
    constexpr size_t kEnough = 20;
    study.textured = double(ratios.size()) / double(std::max<size_t>(1, cells.light.size()));
    study.fineness = ratios.size() < kEnough ? 0 : quantile(ratios, 0.5);
}

io::PlatePixels reduce(const cv::Mat& rgba, const cv::Mat& mark, const io::PlatePixels& pixels,
                       const ReducedSize& size) {
    io::PlatePixels out;
    out.width = size.width;
    out.height = size.height;
    out.clip_level = pixels.clip_level;
    cv::Mat small;
    cv::resize(rgba, small, {size.width, size.height}, 0, 0, cv::INTER_AREA);
    cv::Mat clipped;
    if (std::isfinite(pixels.clip_level)) {
        cv::bitwise_and(mark, cv::Scalar(1), clipped);
        clipped *= 255;
        cv::resize(clipped, clipped, small.size(), 0, 0, cv::INTER_AREA);
    }
    for (int y = 0; y < small.rows; ++y) {
        auto* p = small.ptr<float>(y);
        for (int x = 0; x < small.cols; ++x, p += 4) {
            constexpr int kMuch = 25;  // of 255
            if (p[3] < 0.999f) std::fill_n(p, 4, 0.0f);
            if (!clipped.empty() && clipped.at<uint8_t>(y, x) > kMuch)
                std::fill_n(p, 3, pixels.clip_level);
        }
    }
    const size_t values = size_t(size.width) * size_t(size.height) * 4;
    if (pixels.isHalf()) {
        out.half.resize(values);
        cv::Mat half(size.height, size.width * 4, CV_16F, out.half.data());
        small.reshape(1).convertTo(half, CV_16F);
    } else {
        out.full.assign(small.ptr<float>(), small.ptr<float>() + values);
    }
    return out;
}

}  // namespace

ReducedSize reducedSize(int width, int height, int longest_edge_px) {
    const double scale = double(longest_edge_px) / std::max(width, height);
    if (scale >= 1) return {width, height};
    return {std::max(1, int(std::lround(width * scale))),
            std::max(1, int(std::lround(height * scale)))};
}

PlateStudy studyPlate(const io::PlatePixels& pixels, int longest_edge_px) {
    PlateStudy study;
    const cv::Mat rgba = floatPixels(pixels);
    const Marked marked = markPixels(rgba, pixels.clip_level);
    const double picture = std::max<double>(1, double(marked.picture));
    study.clipped = double(marked.clipped) / picture;
    study.crushed = double(marked.crushed) / picture;
    study.detail = detailOf(marked);
    addTexture(study);
    const ReducedSize size = reducedSize(pixels.width, pixels.height, longest_edge_px);
    study.reduced = size.width == pixels.width && size.height == pixels.height
                        ? pixels
                        : reduce(rgba, marked.mark, pixels, size);
    return study;
}

}  // namespace plateloom::stitch
