#include "stitch/plates/light_picture.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace plateloom::stitch {

namespace {

// Any fixed, mostly green weighting serves: what is compared is plate with plate, of one camera.
constexpr float kRed = 0.25f, kGreen = 0.60f, kBlue = 0.15f;

// A recording bends before it clips, and a demosaiced clip spreads: the last 2 % count as clipped.
constexpr float kClipMargin = 0.98f;

// Pixels next to a missing or clipped one have taken some of it in.
constexpr int kErode_px = 2;

constexpr float kLeastTransmission = 1e-3f;

float luminance(const float rgba[4]) {
    return kRed * rgba[0] + kGreen * rgba[1] + kBlue * rgba[2];
}

float quantile(std::vector<float>& values, double share) {
    if (values.empty()) return 0.0f;
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

// Light below which a difference is noise rather than picture. The noise of the darker half comes
// from second differences along rows (a linear ramp has none; their variance is 6 sigma² for white
// noise, and the median stands for smooth places); plates without noise are held to six and a half
// stops below their median, and those that are mostly black to 13 stops below their highlights.
float noiseFloor(const io::PlatePixels& pixels) {
    constexpr int kRowStep = 8, kColumnStep = 4;
    struct Sample {
        float light, difference;
    };
    std::vector<Sample> samples;
    samples.reserve(size_t(pixels.width / kColumnStep + 1) * (pixels.height / kRowStep + 1));
    for (int y = kRowStep / 2; y < pixels.height; y += kRowStep) {
        for (int x = 1; x + 1 < pixels.width; x += kColumnStep) {
            float light[3];
            bool whole = true;
            for (int k = 0; k < 3; ++k) {
                float rgba[4];
                pixels.read(x - 1 + k, y, rgba);
                whole = whole && rgba[3] > 0.5f;
                light[k] = luminance(rgba);
            }
            if (whole) samples.push_back({light[1], light[0] - 2 * light[1] + light[2]});
        }
    }
    std::vector<float> lights(samples.size());
    for (size_t i = 0; i < samples.size(); ++i) lights[i] = samples[i].light;
    const float high = quantile(lights, 0.99), median = quantile(lights, 0.5);
    std::vector<float> differences;
    for (const Sample& sample : samples) {
        if (sample.light <= median) differences.push_back(std::abs(sample.difference));
    }
    const float sigma = 1.4826f * quantile(differences, 0.5) / std::sqrt(6.0f);
    return std::max({3.0f * sigma, 0.01f * median, 1e-4f * high, 1e-12f});
}

struct RowReader {
    const io::PlatePixels& pixels;
    std::vector<float> buffer;

    // The row as float RGBA; the buffer is used only where the plate is kept in half.
    const float* row(int y) {
        const size_t at = size_t(y) * pixels.width * 4;
        if (!pixels.isHalf()) return &pixels.full[at];
        buffer.resize(size_t(pixels.width) * 4);
        const cv::Mat half(1, pixels.width * 4, CV_16F, const_cast<uint16_t*>(&pixels.half[at]));
        cv::Mat full(1, pixels.width * 4, CV_32F, buffer.data());
        half.convertTo(full, CV_32F);
        return buffer.data();
    }
};

// Recorded light of one row over its transmission, against the floor; and which pixels count.
void lightOfRow(const float* rgba, int y, const calib::LensMap& lens, float clip, float floor,
                cv::Size size, float* light, uint8_t* valid) {
    const calib::Sensor& sensor = lens.sensor();
    const calib::Shading& shading = lens.lens().shading;
    const float mm_x = float(sensor.width_mm / size.width);
    const float y_mm = float((y + 0.5 - 0.5 * size.height) * sensor.height_mm / size.height);
    const float a1 = float(shading.a1), a2 = float(shading.a2), a3 = float(shading.a3);
    const float middle = 0.5f * float(size.width) - 0.5f, per_floor = 1.0f / floor;
    for (int x = 0; x < size.width; ++x) {
        const float* p = rgba + 4 * size_t(x);
        const float x_mm = (float(x) - middle) * mm_x, r2 = x_mm * x_mm + y_mm * y_mm;
        const float transmission = 1.0f - r2 * (a1 + r2 * (a2 + r2 * a3));
        // Half covered is no darker: the colour itself counts.
        const float cover = p[3] > 0.5f ? 1 / p[3] : 1.0f;
        const float recorded = cover * (kRed * p[0] + kGreen * p[1] + kBlue * p[2]);
        const float open = std::max(transmission, kLeastTransmission);
        light[x] = 1.0f + std::max(0.0f, recorded) * per_floor / open;
        const float most = cover * std::max({p[0], p[1], p[2]});
        const bool counts = p[3] > 0.5f && transmission > kLeastTransmission && most < clip;
        valid[x] = counts ? 255 : 0;
    }
}

}  // namespace

LightPicture lightPicture(const io::PlatePixels& pixels, const calib::LensMap& lens) {
    const cv::Size size(pixels.width, pixels.height);
    LightPicture out{cv::Mat(size, CV_32F), cv::Mat(size, CV_8U)};
    const float floor = noiseFloor(pixels);
    const float clip =
        pixels.clip_level > 0 ? pixels.clip_level * kClipMargin : std::numeric_limits<float>::max();
    tbb::parallel_for(tbb::blocked_range<int>(0, size.height, 32), [&](const auto& rows) {
        RowReader reader{pixels, {}};
        for (int y = rows.begin(); y < rows.end(); ++y) {
            lightOfRow(reader.row(y), y, lens, clip, floor, size, out.log_light.ptr<float>(y),
                       out.valid.ptr<uint8_t>(y));
        }
        cv::Mat done = out.log_light.rowRange(rows.begin(), rows.end());
        cv::log(done, done);
    });
    const cv::Mat element =
        cv::getStructuringElement(cv::MORPH_RECT, cv::Size(2 * kErode_px + 1, 2 * kErode_px + 1));
    cv::erode(out.valid, out.valid, element);
    return out;
}

}  // namespace plateloom::stitch
