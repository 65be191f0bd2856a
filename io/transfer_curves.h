// Transfer curves from code value (1 is full scale) to linear light, as their standards give them.
#pragma once

#include <optional>
#include <string>

#include "io/primaries.h"

namespace plateloom::io {

/// IEC 61966-2-1, 5.2. Below zero the curve is mirrored (its extended-range form, Annex F).
[[nodiscard]] float linearFromSrgb(float value);
[[nodiscard]] float srgbFromLinear(float value);
/// ITU-R BT.709-6, item 1.2, inverted. Scene light, no display gamma. Mirrored below zero.
[[nodiscard]] float linearFromRec709(float value);
/// Academy S-2016-001 (ACEScct), 4.4.
[[nodiscard]] float linearFromAcescct(float value);
/// Academy S-2014-003 (ACEScc), 4.4.
[[nodiscard]] float linearFromAcescc(float value);

using TransferCurve = float (*)(float);
struct KnownSpace {
    TransferCurve curve;              ///< null: linear already
    const Chromaticities* primaries;  ///< null: the name does not say them
};
/// By name, in any spelling of case, blanks and punctuation: "sRGB", "srgb_texture", "Rec.709",
/// "ACEScct", "scene_linear", "lin_rec709", "ACEScg"...
[[nodiscard]] std::optional<KnownSpace> knownSpace(const std::string& name);

}  // namespace plateloom::io
