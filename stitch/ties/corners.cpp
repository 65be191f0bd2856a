#include "stitch/ties/corners.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace plateloom::stitch {

namespace {

// Corners are looked for at half size: what counts is the texture of a whole patch, and a quarter
// of the pixels tells it, with half of the noise.
constexpr int kHalf = 2;

// Which nodes of a coarse grid over the plate lie inside, and the rectangle that they span.
struct Part {
    cv::Rect box;  // full pixels
    double area_px = 0;
};

Part partInside(cv::Size size, const std::function<bool(const Vector2d&)>& inside) {
    constexpr int kNode_px = 24;
    const int columns = std::max(1, size.width / kNode_px),
              rows = std::max(1, size.height / kNode_px);
    const double step_x = double(size.width) / columns, step_y = double(size.height) / rows;
    int left = columns, right = -1, top = rows, bottom = -1, count = 0;
    for (int j = 0; j < rows; ++j) {
        for (int i = 0; i < columns; ++i) {
            if (!inside({(i + 0.5) * step_x, (j + 0.5) * step_y})) continue;
            ++count;
            left = std::min(left, i), right = std::max(right, i);
            top = std::min(top, j), bottom = std::max(bottom, j);
        }
    }
    if (count == 0) return {};
    const int x = int(left * step_x), y = int(top * step_y);
    return {cv::Rect(x, y, int((right + 1) * step_x) - x, int((bottom + 1) * step_y) - y),
            count * step_x * step_y};
}

}  // namespace

std::vector<Corner> spreadCorners(const LightPicture& light,
                                  const std::function<bool(const Vector2d&)>& inside, int wanted,
                                  int patch_px) {
    const Part part = partInside(light.log_light.size(), inside);
    std::vector<Corner> corners;
    if (part.box.width < 2 * patch_px || part.box.height < 2 * patch_px || wanted <= 0)
        return corners;

    cv::Mat half, strength, whole;
    const cv::Size half_size(part.box.width / kHalf, part.box.height / kHalf);
    const cv::Rect box(part.box.x, part.box.y, half_size.width * kHalf, half_size.height * kHalf);
    cv::resize(light.log_light(box), half, half_size, 0, 0, cv::INTER_AREA);
    // cornerMinEigenVal divides its 3 x 3 Sobel sums so that a slope of 1 a pixel gives 1.
    // The window is half as wide as the patch, so that what it found lies well inside: an edge cut
    // by the patch's rim would pull the registration wherever the two plates differ in blur.
    const int block = std::max(3, (patch_px / (2 * kHalf)) | 1);
    cv::cornerMinEigenVal(half, strength, block, 3);
    // A pixel of `whole` is set when a patch about it (and one pixel more for the filter's taps)
    // is valid throughout.
    cv::erode(light.valid(box), whole, cv::Mat::ones(patch_px + 4, patch_px + 4, CV_8U),
              cv::Point(-1, -1), 1, cv::BORDER_CONSTANT, cv::Scalar(255));

    const double cell =
        std::max(double(patch_px) / kHalf, std::sqrt(part.area_px / wanted) / kHalf);
    const int columns = std::max(1, int(half_size.width / cell));
    const int rows = std::max(1, int(half_size.height / cell));
    const int margin = (patch_px / 2 + 3) / kHalf + 1;
    for (int j = 0; j < rows; ++j) {
        for (int i = 0; i < columns; ++i) {
            const int x0 = i * half_size.width / columns, x1 = (i + 1) * half_size.width / columns;
            const int y0 = j * half_size.height / rows, y1 = (j + 1) * half_size.height / rows;
            Corner best;
            for (int y = std::max(y0, margin); y < std::min(y1, half_size.height - margin); ++y) {
                const float* row = strength.ptr<float>(y);
                const uint8_t* valid = whole.ptr<uint8_t>(y * kHalf);
                for (int x = std::max(x0, margin); x < std::min(x1, half_size.width - margin);
                     ++x) {
                    if (row[x] <= best.strength || !valid[x * kHalf]) continue;
                    best.strength = row[x];
                    best.px = {box.x + kHalf * x + 0.5, box.y + kHalf * y + 0.5};
                }
            }
            if (best.strength > 0 && inside(best.px)) corners.push_back(best);
        }
    }
    return corners;
}

}  // namespace plateloom::stitch
