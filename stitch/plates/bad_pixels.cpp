#include "stitch/plates/bad_pixels.h"

#include <algorithm>

#include "calib/said.h"

namespace plateloom::stitch {

namespace {

double shareOf(size_t bad_pixels, size_t pixels) {
    return std::min(1.0, double(bad_pixels) / double(std::max<size_t>(1, pixels)));
}

}  // namespace

std::string badPixelsInWords(const std::string& name, size_t bad_pixels, size_t pixels) {
    return name + said(": %zu pixels (%.3g %%) are not finite in its file (NaN or infinite)",
                       bad_pixels, 100 * shareOf(bad_pixels, pixels));
}

std::string beyondHalfInWords(const std::string& name, size_t count) {
    return name + said(
                      ": %zu values are brighter than half holds and are written as 65504; "
                      "--depth float keeps them",
                      count);
}

bool areHoles(size_t bad_pixels, size_t pixels) {
    constexpr double kHoles = 0.05;
    return shareOf(bad_pixels, pixels) > kHoles;
}

}  // namespace plateloom::stitch
