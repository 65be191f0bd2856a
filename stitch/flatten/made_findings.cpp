#include "stitch/flatten/made_findings.h"

#include <cstdio>

#include "stitch/plates/bad_pixels.h"

namespace plateloom::stitch {

std::string textOf(const MadeFindings& found) {
    char text[100];
    std::snprintf(text, sizeof text, "uncovered %012zu, not finite %012zu, beyond half %012zu",
                  found.uncovered, found.bad_pixels, found.beyond_half);
    return text;
}

std::optional<MadeFindings> madeFindings(const std::string& text) {
    MadeFindings found;
    if (std::sscanf(text.c_str(), "uncovered %zu, not finite %zu, beyond half %zu",
                    &found.uncovered, &found.bad_pixels, &found.beyond_half) != 3)
        return std::nullopt;
    return found;
}

void tellLight(const std::string& name, const MadeFindings& found, size_t pixels,
               MadeFrames& made) {
    if (found.beyond_half > 0) made.warnings.push_back(beyondHalfInWords(name, found.beyond_half));
    if (found.bad_pixels == 0) return;
    made.warnings.push_back(badPixelsInWords(name, found.bad_pixels, pixels));
    made.has_holes = made.has_holes || areHoles(found.bad_pixels, pixels);
}

}  // namespace plateloom::stitch
