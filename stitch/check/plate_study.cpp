#include "stitch/check/plate_study.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "calib/median.h"

namespace plateloom::stitch {

namespace {

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

void addTexture(PlateStudy& study) {
    const DetailCells& cells = study.detail;
    constexpr float kTextured = 8;
    std::vector<double> ratios;
    for (size_t i = 0; i < cells.light.size(); ++i)
        if (cells.light[i] > 0 && cells.coarse[i] > kTextured * cells.noise[i] &&
            cells.coarse[i] > 1e-4f * cells.light[i] * cells.light[i])
            ratios.push_back(double(
                std::log(std::max(cells.fine[i], 1e-3f * cells.coarse[i]) / cells.coarse[i])));
    constexpr size_t kEnough = 20;
    study.textured = double(ratios.size()) / double(std::max<size_t>(1, cells.light.size()));
    study.fineness = ratios.size() < kEnough ? 0 : calib::median(ratios);
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
        cv::bitwise_and(mark, cv::Scalar(MarkedPixels::clipped), clipped);
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
    const MarkedPixels marked = markPixels(pixels, 0, pixels.height);
    const double picture = std::max<double>(1, double(marked.picture_count));
    study.clipped = double(marked.clipped_count) / picture;
    study.crushed = double(marked.black_count) / picture;
    study.detail = detailCells(marked);
    addTexture(study);
    const ReducedSize size = reducedSize(pixels.width, pixels.height, longest_edge_px);
    study.reduced = size.width == pixels.width && size.height == pixels.height
                        ? pixels
                        : reduce(floatPixels(pixels), marked.mark, pixels, size);
    return study;
}

}  // namespace plateloom::stitch
