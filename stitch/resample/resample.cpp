#include "stitch/resample/resample.h"

#include "io/half_rows.h"
#include "stitch/resample/resample_variants.h"

namespace plateloom::stitch {

namespace {

using Variant = void (*)(const io::PlatePixels&, const BrightLight*, bool, const SamplePoint*,
                         size_t, float*);

Variant bestVariant() {
#if defined(__x86_64__)
    if (hasAvx2()) return resampleAvx2;
#endif
    return resamplePortable;
}

}  // namespace

#if defined(__x86_64__)
bool hasAvx2() {
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma") && io::hasF16c();
}
#endif

void resample(const io::PlatePixels& plate, const BrightLight* bright, const SamplePoint* points,
              size_t count, float* rgba) {
    static const Variant variant = bestVariant();
    variant(plate, bright, false, points, count, rgba);
}

void resampleSmooth(const io::PlatePixels& plate, const SamplePoint* points, size_t count,
                    float* rgba) {
    static const Variant variant = bestVariant();
    variant(plate, nullptr, true, points, count, rgba);
}

}  // namespace plateloom::stitch
