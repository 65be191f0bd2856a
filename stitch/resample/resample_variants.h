// The resampler, once for each instruction set. Same values within float rounding; resample.cpp
// chooses at run time, tests compare them.
#pragma once

#include "stitch/resample/bright_light.h"
#include "stitch/resample/resample.h"

namespace plateloom::stitch {

void resamplePortable(const io::PlatePixels& plate, const BrightLight* bright, bool smooth,
                      const SamplePoint* points, size_t count, float* rgba);

#if defined(__x86_64__)
/// Needs AVX2, FMA and F16C: ask hasAvx2 first.
void resampleAvx2(const io::PlatePixels& plate, const BrightLight* bright, bool smooth,
                  const SamplePoint* points, size_t count, float* rgba);
[[nodiscard]] bool hasAvx2();
#endif

}  // namespace plateloom::stitch
