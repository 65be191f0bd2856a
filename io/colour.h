// Scene-linear in, display out: OpenColorIO with $OCIO, else curves of our own from the standards
// (sRGB IEC 61966-2-1, Rec.709 inverse OETF BT.709, ACEScct S-2016-001, ACEScc S-2014-003).
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/picture.h"
#include "io/primaries.h"

namespace plateloom::io {

/// Turns RGB (the first three of `channels` values a pixel) from `colour_space` into scene-linear,
/// in place. "scene_linear", "Linear", "lin_rec709" and the like leave it alone. Throws InputError
/// for a name that neither the configuration nor the built-in curves know, listing some that they
/// do.
void linearize(float* pixels, size_t count, int channels, const std::string& colour_space);

/// The primaries of the light that `linearize` makes of a colour space.
struct LinearPrimaries {
    enum Kind {
        as_before,  ///< the conversion leaves them alone and the name does not say them
        known,
        unknown  ///< the configuration changes them, and does not say into which
    };
    Kind kind = as_before;
    Chromaticities chromaticities;  ///< where known
    bool converted = false;         ///< through the configuration: whatever the file says is past
};
[[nodiscard]] LinearPrimaries linearPrimaries(const std::string& colour_space);

/// The primaries that a colour space's name stands for, by its own name or by the configuration
/// that $OCIO names. Throws InputError.
[[nodiscard]] Chromaticities primariesOfSpace(const std::string& colour_space);

/// A digest of how `linearize` converts this colour space: other tables or another configuration
/// under the same name have another digest. Empty for the built-in curves.
[[nodiscard]] std::string conversionDigest(const std::string& colour_space);

/// The largest value that 8- to 16-bit code values can come to in this colour space (code value 1).
[[nodiscard]] float linearWhite(const std::string& colour_space);

/// Scene-linear to an sRGB display value in [0, 1], after `exposure` (a factor) and a soft shoulder
/// above 0.8, for previews and thumbnails that a person looks at.
[[nodiscard]] float displayFromLinear(float value, float exposure);

/// The same as `linearize`, looked up once and used for many rows. Safe to use from several
/// threads.
class Linearization {
public:
    /// Throws InputError as `linearize` does.
    explicit Linearization(const std::string& colour_space);

    /// The values are scene-linear already.
    [[nodiscard]] bool isNone() const { return !curve_ && !processor_; }
    /// Every channel by itself goes through one curve, so that a table can stand for it.
    [[nodiscard]] bool isCurve() const { return !processor_; }
    /// The curve at one value; only when isCurve().
    [[nodiscard]] float operator()(float value) const { return curve_ ? curve_(value) : value; }
    void apply(float* pixels, size_t count, int channels) const;

private:
    struct Processor;
    float (*curve_)(float) = nullptr;
    std::shared_ptr<const Processor> processor_;  ///< of the OpenColorIO configuration
};

}  // namespace plateloom::io
