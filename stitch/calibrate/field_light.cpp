#include "stitch/calibrate/field_light.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace plateloom::stitch {

namespace {

constexpr int kColumns = 48;
constexpr int kLeastCell_px = 6;
constexpr double kMostClipped = 0.02;  // of a cell

float medianOf(std::vector<float>& values) {
    const auto middle = values.begin() + long(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

struct Channel {
    float median = 0, clip = std::numeric_limits<float>::infinity();
};

// The level that a channel clips at: a value that one pixel in a hundred or more shares exactly,
// several times as many as share any value just below it, with next to nothing above. (A field's
// light falls smoothly from its brightest place, so that io/clip_plateau.h would see no plateau;
// and dead pixels may be brighter than the clip level.)
float clipOf(std::vector<float>& values) {
    constexpr double kAbove = 0.005, kLeastShare = 0.01;
    constexpr size_t kTimes = 4;
    constexpr float kJustBelow = 0.97f;
    const auto at = values.begin() + long(double(values.size() - 1) * (1 - kAbove));
    std::nth_element(values.begin(), at, values.end());
    const float level = *at;
    size_t shared = 0;
    std::vector<float> below;
    for (const float value : values) {
        shared += value == level;
        if (value > kJustBelow * level && value < level) below.push_back(value);
    }
    std::sort(below.begin(), below.end());
    size_t longest = 0, run = 0;
    for (size_t i = 0; i < below.size(); ++i) {
        run = i > 0 && below[i] == below[i - 1] ? run + 1 : 1;
        longest = std::max(longest, run);
    }
    const bool clips = level > 0 && double(shared) > kLeastShare * double(values.size()) &&
                       shared > kTimes * longest;
    return clips ? level : std::numeric_limits<float>::infinity();
}

Channel channelOf(const io::PlatePixels& pixels, int c, float black) {
    std::vector<float> values;
    // A quarter of a million pixels tell a median and a plateau.
    const int step = std::max(1, int(std::sqrt(double(pixels.width) * pixels.height / 262144.0)));
    for (int y = 0; y < pixels.height; y += step)
        for (int x = 0; x < pixels.width; x += step) {
            float rgba[4];
            pixels.read(x, y, rgba);
            if (rgba[3] > 0) values.push_back(rgba[c]);
        }
    if (values.empty()) return {};
    Channel out;
    out.clip = clipOf(values);
    out.median = medianOf(values) - black;
    return out;
}

struct CellLight {
    double light = 0, grain = 0;
    bool clipped = false;
};

// Mean of one channel in a cell, without what stands out.
CellLight trimmedMean(std::vector<float>& values) {
    CellLight out;
    const float middle = medianOf(values);
    std::vector<float> away(values.size());
    std::transform(values.begin(), values.end(), away.begin(),
                   [&](float v) { return std::abs(v - middle); });
    const double sigma = 1.4826 * double(medianOf(away));
    // Code values of an integer file may all be one and the same.
    const double reach = std::max(3.5 * sigma, 1e-3 * double(std::abs(middle)));
    double sum = 0;
    size_t count = 0;
    for (const float v : values)
        if (std::abs(double(v) - double(middle)) <= reach) sum += double(v), ++count;
    out.light = sum / double(std::max<size_t>(1, count));
    out.grain = sigma;
    return out;
}

struct Box {
    int x0, y0, x1, y1;
};

CellLight cellLight(const io::PlatePixels& pixels, const Box& box,
                    const std::array<Channel, 3>& channels, float black) {
    std::array<std::vector<float>, 3> values;
    size_t clipped = 0;
    const auto size = size_t(box.x1 - box.x0) * size_t(box.y1 - box.y0);
    for (auto& channel : values) channel.reserve(size);
    for (int y = box.y0; y < box.y1; ++y)
        for (int x = box.x0; x < box.x1; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            if (rgba[3] <= 0) continue;
            bool at_clip = false;
            for (size_t c = 0; c < 3; ++c) {
                at_clip |= rgba[c] >= channels[c].clip;
                values[c].push_back(rgba[c] - black);
            }
            clipped += at_clip;
        }
    CellLight out;
    if (values[0].size() * 2 < size) return out;
    out.clipped = double(clipped) > kMostClipped * double(size);
    if (out.clipped) return out;
    int joined = 0;
    for (size_t c = 0; c < 3; ++c) {
        if (!(channels[c].median > 0)) continue;
        const CellLight one = trimmedMean(values[c]);
        out.light += one.light / double(channels[c].median);
        out.grain += one.grain / double(channels[c].median);
        ++joined;
    }
    out.light /= std::max(1, joined);
    out.grain /= std::max(1, joined);
    return out;
}

}  // namespace

FieldLight fieldLight(const io::PlatePixels& pixels, const calib::Sensor& sensor, double black) {
    FieldLight out;
    out.columns = std::clamp(pixels.width / kLeastCell_px, 1, kColumns);
    const double cell_px = double(pixels.width) / out.columns;
    out.rows = std::max(1, int(std::lround(pixels.height / cell_px)));
    std::array<Channel, 3> channels;
    for (int c = 0; c < 3; ++c) channels[size_t(c)] = channelOf(pixels, c, float(black));
    double level = 0;
    for (const Channel& channel : channels) level += double(channel.median) / 3;
    out.level = level;

    std::vector<CellLight> lights(size_t(out.columns) * size_t(out.rows));
    out.cells.resize(lights.size());
    tbb::parallel_for(0, out.rows, [&](int j) {
        for (int i = 0; i < out.columns; ++i) {
            const Box box{pixels.width * i / out.columns, pixels.height * j / out.rows,
                          pixels.width * (i + 1) / out.columns, pixels.height * (j + 1) / out.rows};
            const size_t at = size_t(j) * size_t(out.columns) + size_t(i);
            lights[at] = cellLight(pixels, box, channels, float(black));
            calib::FieldCell& cell = out.cells[at];
            const calib::Vector2d px(0.5 * (box.x0 + box.x1), 0.5 * (box.y0 + box.y1));
            calib::Sensor here = sensor;
            here.width_px = pixels.width;
            here.height_px = pixels.height;
            cell.mm = cell.flat_mm = calib::mmFromPixel(here, px);
            cell.light = std::max(0.0, lights[at].light * level);
        }
    });
    std::vector<float> grains;
    for (const CellLight& light : lights) {
        out.clipped_cells += light.clipped;
        out.empty_cells += !light.clipped && !(light.light > 0);
        if (light.light > 0) grains.push_back(float(light.grain));
    }
    if (!grains.empty()) out.grain = double(medianOf(grains));
    return out;
}

}  // namespace plateloom::stitch
