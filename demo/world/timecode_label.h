// SMPTE ST 12-1 labels, as a camera counts them.
#pragma once

#include "world/shoot.h"

namespace plateloom::world {

struct Label {
    int hours = 0, minutes = 0, seconds = 0, frames = 0;
};

/// Drop-frame counts by walking minute by minute in the day: plain, and unlike the program's own
/// closed form, which is checked against it.
[[nodiscard]] inline Label labelOf(int64_t frame, const Rate& rate) {
    const int whole = (rate.num + rate.denom - 1) / rate.denom;
    const int left_out = rate.drop_frame ? whole / 15 : 0;  // 2 at 30, 4 at 60
    int minute = 0;
    for (;; ++minute) {
        const int in_minute = whole * 60 - (minute % 10 == 0 ? 0 : left_out);
        if (frame < in_minute) break;
        frame -= in_minute;
    }
    if (minute % 10 != 0) frame += left_out;
    return {minute / 60 % 24, minute % 60, int(frame / whole), int(frame % whole)};
}

}  // namespace plateloom::world
