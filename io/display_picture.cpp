#include "io/display_picture.h"

#include <algorithm>
#include <cstddef>

#include "io/colour.h"
#include "io/made_picture.h"

namespace plateloom::io {

float displayExposure(const std::vector<const Picture*>& linear) {
    constexpr size_t kEvery = 7;  // enough of the pixels to tell a percentile
    std::vector<float> light;
    for (const auto* picture : linear)
        for (size_t i = 0; i < picture->data.size(); i += 4 * kEvery)
            if (picture->data[i + 3] > 0) light.push_back(picture->data[i + 1]);
    if (light.empty()) return 1;
    const auto at = light.begin() + std::ptrdiff_t(light.size() * 9 / 10);
    std::nth_element(light.begin(), at, light.end());
    return 0.5f / std::max(*at, 1e-6f);
}

Picture displayPicture(const Picture& linear, float exposure) {
    constexpr float hole[3] = {0.05f, 0.07f, 0.22f};
    Picture picture(linear.width, linear.height, 3);
    for (size_t i = 0; i < size_t(linear.width) * size_t(linear.height); ++i) {
        const float* from = &linear.data[4 * i];
        for (size_t c = 0; c < 3; ++c)
            picture.data[3 * i + c] = from[3] > 0 ? displayFromLinear(from[c], exposure) : hole[c];
    }
    return picture;
}

void writeDisplayPicture(const std::filesystem::path& path, const Picture& picture, Made kind) {
    PictureTags tags;
    tags.colour_space = "sRGB";
    writeMade(path, picture, tags, false, {0, 0, picture.width, picture.height}, kind);
}

}  // namespace plateloom::io
