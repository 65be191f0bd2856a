#include "io/code_range.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

namespace plateloom::io {

namespace {

// An undefined field has all bits set (ST 268-1), which OpenImageIO leaves out or hands on.
std::optional<double> codeIn(const OIIO::ImageSpec& spec, const char* name, double largest) {
    const auto* found = spec.find_attribute(name);
    if (!found) return std::nullopt;
    const double value = double(found->get_float());
    if (!std::isfinite(value) || value < 0 || value > largest) return std::nullopt;
    return value;
}

std::optional<CodeRange> rangeIn(const OIIO::ImageSpec& spec, const char* black, const char* white,
                                 double largest) {
    const auto low = codeIn(spec, black, largest), high = codeIn(spec, white, largest);
    // White no farther from black than half of full scale is a header left half empty.
    if (!low || !high || *high - *low < 0.5 * largest) return std::nullopt;
    return CodeRange{float(*low / largest), float(*high / largest)};
}

}  // namespace

bool isLinearDpx(const OIIO::ImageSpec& spec) {
    return spec.get_string_attribute("dpx:Transfer") == "Linear";
}

bool isVideoDpx(const OIIO::ImageSpec& spec) {
    const std::string transfer = spec.get_string_attribute("dpx:Transfer");
    for (const char* same_curve :
         {"ITU-R 709-4", "ITU-R 601-5 B or G", "ITU-R 601-5 M", "Unspecified video", "SMPTE 274M"})
        if (transfer == same_curve) return true;
    return false;
}

CodeRange codeRangeOf(const PictureSource& source) {
    const OIIO::ImageSpec& spec = source.spec;
    if (source.kind != FileKind::dpx || source.isFloating()) return {};
    if (!isLinearDpx(spec) && !isVideoDpx(spec)) return {};
    const int bits = spec.get_int_attribute("oiio:BitsPerSample", int(spec.format.size() * 8));
    const double largest = std::exp2(std::clamp(bits, 1, 16)) - 1;
    const auto television = rangeIn(spec, "dpx:BlackLevel", "dpx:WhiteLevel", largest);
    if (television) return *television;
    return rangeIn(spec, "dpx:LowData", "dpx:HighData", largest).value_or(CodeRange{});
}

}  // namespace plateloom::io
