#include "stitch/plates/small_plates.h"

#include <algorithm>
#include <cmath>

#include "io/half_rows.h"
#include "io/plate_file.h"

namespace plateloom::stitch {

namespace {

// 640 pixels over 90 degrees are still the 326 a radian of a panorama 2048 wide.
constexpr int kLongest_px = 640;

// Where the places that make one small pixel lie along a side of `from` pixels.
std::vector<int> placesAlong(int from, int to, int places) {
    std::vector<int> at;
    at.reserve(size_t(to) * places);
    for (int i = 0; i < to * places; ++i)
        at.push_back(std::min(from - 1, int((i + 0.5) * from / (double(to) * places))));
    return at;
}

// A row of the plate as floats; `buffer` is used where it is kept in halves.
const float* rowOf(const io::PlatePixels& pixels, int y, std::vector<float>& buffer) {
    const size_t values = size_t(pixels.width) * 4;
    if (!pixels.isHalf()) return &pixels.full[size_t(y) * values];
    io::floatsFromHalves(&pixels.half[size_t(y) * values], values, buffer.data());
    return buffer.data();
}

}  // namespace

io::PlatePixels shrunk(const io::PlatePixels& pixels, int longest_px) {
    const double factor = std::max(1.0, double(std::max(pixels.width, pixels.height)) / longest_px);
    io::PlatePixels out;
    out.width = std::max(1, int(std::lround(pixels.width / factor)));
    out.height = std::max(1, int(std::lround(pixels.height / factor)));
    out.clip_level = pixels.clip_level;
    const int places = std::min(4, int(std::ceil(factor)));
    const auto columns = placesAlong(pixels.width, out.width, places);
    const auto rows = placesAlong(pixels.height, out.height, places);
    out.half.resize(size_t(out.width) * out.height * 4);
    std::vector<float> buffer(size_t(pixels.width) * 4), sums(size_t(out.width) * 4);
    for (int y = 0; y < out.height; ++y) {
        std::fill(sums.begin(), sums.end(), 0.0f);
        for (int k = 0; k < places; ++k) {
            const float* row = rowOf(pixels, rows[size_t(y) * places + k], buffer);
            for (size_t i = 0; i < columns.size(); ++i)
                for (size_t c = 0; c < 4; ++c)
                    sums[4 * (i / places) + c] += row[4 * size_t(columns[i]) + c];
        }
        // Places without a picture hold nothing; a pixel counts when half of its places do.
        for (int x = 0; x < out.width; ++x) {
            float* sum = &sums[4 * size_t(x)];
            const float held = 2 * sum[3] >= float(places * places) ? 1.0f : 0.0f;
            for (int c = 0; c < 3; ++c) sum[c] *= held > 0 ? 1 / sum[3] : 0.0f;
            sum[3] = held;
        }
        io::halvesFromFloats(sums.data(), sums.size(), &out.half[size_t(y) * sums.size()]);
    }
    return out;
}

SmallPlates::SmallPlates(const std::vector<Plate>& plates)
    : SmallPlates(plates.size(), [plates](int plate) {
          return io::readPlatePixels(plates.at(size_t(plate)).file);
      }) {}

SmallPlates::SmallPlates(size_t plates, PlateStore::Reader read)
    : read_(std::move(read)), small_(plates) {}

PlateStore::Reader SmallPlates::reader() {
    return [this](int plate) {
        auto pixels = read_(plate);
        keep(plate, pixels);
        return pixels;
    };
}

std::shared_ptr<const io::PlatePixels> SmallPlates::get(int plate) {
    {
        const std::lock_guard lock(mutex_);
        if (const auto& small = small_.at(size_t(plate))) return small;
    }
    keep(plate, read_(plate));
    const std::lock_guard lock(mutex_);
    return small_[size_t(plate)];
}

void SmallPlates::keep(int plate, const io::PlatePixels& pixels) {
    {
        const std::lock_guard lock(mutex_);
        if (small_.at(size_t(plate))) return;
    }
    auto small = std::make_shared<const io::PlatePixels>(shrunk(pixels, kLongest_px));
    const std::lock_guard lock(mutex_);
    small_[size_t(plate)] = std::move(small);
}

}  // namespace plateloom::stitch
