#include "stitch/flatten/made_findings.h"

#include <cstdio>

#include "stitch/plates/bad_pixels.h"

namespace plateloom::stitch {

std::string textOf(const MadeFindings& found) {
    char text[80];
    std::snprintf(text, sizeof text, "uncovered %012zu, not finite %012zu", found.uncovered,
                  found.bad_pixels);
    return text;
}

std::optional<MadeFindings> madeFindings(const std::string& text) {
    MadeFindings found;
    if (std::sscanf(text.c_str(), "uncovered %zu, not finite %zu", &found.uncovered,
                    &found.bad_pixels) != 2)
        return std::nullopt;
    return found;
}

void tellBadPixels(const std::string& name, size_t bad_pixels, size_t pixels, MadeFrames& made) {
    if (bad_pixels == 0) return;
    made.warnings.push_back(badPixelsInWords(name, bad_pixels, pixels));
    made.has_holes = made.has_holes || areHoles(bad_pixels, pixels);
}

}  // namespace plateloom::stitch
