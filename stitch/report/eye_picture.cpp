#include "stitch/report/eye_picture.h"

#include <algorithm>
#include <cstddef>

#include "io/colour.h"
#include "io/made_picture.h"

namespace plateloom::stitch {

float exposureForEyes(const std::vector<const io::Picture*>& linear) {
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

io::Picture eyePicture(const io::Picture& linear, float exposure) {
    constexpr float hole[3] = {0.05f, 0.07f, 0.22f};
    io::Picture picture(linear.width, linear.height, 3);
    for (size_t i = 0; i < size_t(linear.width) * size_t(linear.height); ++i) {
        const float* from = &linear.data[4 * i];
        for (size_t c = 0; c < 3; ++c)
            picture.data[3 * i + c] =
                from[3] > 0 ? io::displayFromLinear(from[c], exposure) : hole[c];
    }
    return picture;
}

void writeEyePicture(const std::filesystem::path& path, const io::Picture& picture, io::Made kind) {
    io::PictureTags tags;
    tags.colour_space = "sRGB";
    io::writeMade(path, picture, tags, false, {0, 0, picture.width, picture.height}, kind);
}

}  // namespace plateloom::stitch
