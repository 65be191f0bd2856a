#include "io/transfer_curves.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <string_view>

namespace plateloom::io {

namespace {

constexpr float kLargestHalf = 65504.0f;

std::string onlyLettersAndDigits(const std::string& name) {
    std::string plain;
    for (const char c : name) {
        const auto letter = static_cast<unsigned char>(c);
        if (std::isalnum(letter)) plain += static_cast<char>(std::tolower(letter));
    }
    return plain;
}

template <int kTenths>
float linearFromGamma(float value) {
    return std::copysign(std::pow(std::abs(value), float(kTenths) / 10.0f), value);
}

struct Name {
    std::string_view plain;
    TransferCurve curve;
    const Chromaticities* primaries = nullptr;
};

using primaries::kAp0;
using primaries::kAp1;
using primaries::kP3D65;
using primaries::kRec2020;
using primaries::kRec709;

// Spellings met in files and in OpenColorIO configurations (common practice).
const std::array kNames{
    Name{"scenelinear", nullptr},
    Name{"linear", nullptr},
    Name{"lin", nullptr},
    Name{"raw", nullptr},
    Name{"none", nullptr},
    Name{"linrec709", nullptr, &kRec709},
    Name{"linrec709srgb", nullptr, &kRec709},
    Name{"linearrec709", nullptr, &kRec709},
    Name{"linearrec709srgb", nullptr, &kRec709},
    Name{"linsrgb", nullptr, &kRec709},
    Name{"linearsrgb", nullptr, &kRec709},
    Name{"linrec2020", nullptr, &kRec2020},
    Name{"linearrec2020", nullptr, &kRec2020},
    Name{"linp3d65", nullptr, &kP3D65},
    Name{"linearp3d65", nullptr, &kP3D65},
    Name{"linap0", nullptr, &kAp0},
    Name{"linap1", nullptr, &kAp1},
    Name{"acescg", nullptr, &kAp1},
    Name{"acesacescg", nullptr, &kAp1},
    Name{"aces20651", nullptr, &kAp0},
    Name{"acesaces20651", nullptr, &kAp0},
    Name{"aces", nullptr, &kAp0},
    Name{"srgb", linearFromSrgb, &kRec709},
    Name{"srgbtexture", linearFromSrgb, &kRec709},
    Name{"utilitysrgbtexture", linearFromSrgb, &kRec709},
    Name{"srgbtx", linearFromSrgb, &kRec709},
    Name{"srgbencodedrec709srgb", linearFromSrgb, &kRec709},
    Name{"srgbrec709scene", linearFromSrgb, &kRec709},
    Name{"rec709", linearFromRec709, &kRec709},
    Name{"bt709", linearFromRec709, &kRec709},
    Name{"itubt709", linearFromRec709, &kRec709},
    Name{"camerarec709", linearFromRec709, &kRec709},
    Name{"utilityrec709camera", linearFromRec709, &kRec709},
    Name{"gamma18", linearFromGamma<18>},
    Name{"gamma22", linearFromGamma<22>},
    Name{"gamma24", linearFromGamma<24>},
    Name{"gamma26", linearFromGamma<26>},
    Name{"gammacorrected18", linearFromGamma<18>},
    Name{"gammacorrected22", linearFromGamma<22>},
    Name{"gammacorrected24", linearFromGamma<24>},
    Name{"gammacorrected26", linearFromGamma<26>},
    Name{"g18rec709", linearFromGamma<18>, &kRec709},
    Name{"g22rec709", linearFromGamma<22>, &kRec709},
    Name{"g24rec709", linearFromGamma<24>, &kRec709},
    Name{"acescct", linearFromAcescct, &kAp1},
    Name{"acesacescct", linearFromAcescct, &kAp1},
    Name{"acescctap1", linearFromAcescct, &kAp1},
    Name{"acescc", linearFromAcescc, &kAp1},
    Name{"acesacescc", linearFromAcescc, &kAp1},
    Name{"acesccap1", linearFromAcescc, &kAp1},
};

}  // namespace

float linearFromSrgb(float value) {
    const float size = std::abs(value);
    const float linear =
        size <= 0.04045f ? size / 12.92f : std::pow((size + 0.055f) / 1.055f, 2.4f);
    return std::copysign(linear, value);
}

float srgbFromLinear(float value) {
    const float size = std::abs(value);
    const float coded =
        size <= 0.0031308f ? 12.92f * size : 1.055f * std::pow(size, 1.0f / 2.4f) - 0.055f;
    return std::copysign(coded, value);
}

float linearFromRec709(float value) {
    const float size = std::abs(value);
    float linear = size / 4.5f;
    // With the standard's three digits the upper piece starts 0.3 % below the end of the lower one;
    // the larger of the two goes on without a step.
    if (size >= 0.081f) linear = std::max(linear, std::pow((size + 0.099f) / 1.099f, 1.0f / 0.45f));
    return std::copysign(linear, value);
}

float linearFromAcescct(float value) {
    constexpr float kBreak = 0.155251141552511f, kSlope = 10.5402377416545f,
                    kOffset = 0.0729055341958355f;
    if (value <= kBreak) return (value - kOffset) / kSlope;
    return std::min(std::exp2(value * 17.52f - 9.72f), kLargestHalf);
}

float linearFromAcescc(float value) {
    constexpr float kBreak = (9.72f - 15.0f) / 17.52f, kSmallest = 0x1p-16f;
    const float power = std::exp2(value * 17.52f - 9.72f);
    if (value <= kBreak) return (power - kSmallest) * 2.0f;
    return std::min(power, kLargestHalf);
}

std::optional<KnownSpace> knownSpace(const std::string& name) {
    const std::string plain = onlyLettersAndDigits(name);
    for (const Name& known : kNames) {
        if (known.plain == plain) return KnownSpace{known.curve, known.primaries};
    }
    return std::nullopt;
}

}  // namespace plateloom::io
