// Pixels that are not finite in a file, or too bright for one: what people are told of them.
#pragma once

#include <cstddef>
#include <string>

namespace plateloom::stitch {

/// "a.exr: 1042 pixels (0.05 %) are not finite..."
[[nodiscard]] std::string badPixelsInWords(const std::string& name, size_t bad_pixels,
                                           size_t pixels);

/// "a.exr: 12 values are brighter than half holds..."; `count` above 0.
[[nodiscard]] std::string beyondHalfInWords(const std::string& name, size_t count);

/// More of them than defects of a sensor or a render make (common practice): something went wrong
/// with the file, and a person must see it.
[[nodiscard]] bool areHoles(size_t bad_pixels, size_t pixels);

}  // namespace plateloom::stitch
