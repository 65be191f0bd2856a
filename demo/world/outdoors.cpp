// The ground and the sky.
#include <algorithm>
#include <cmath>

#include "world/noise.h"
#include "world/surface.h"

namespace plateloom::world {

namespace {

// Noise whose octaves stop where they would be finer than a plate's pixel seen from the tripod.
// The cut depends on the place alone, so every camera sees the same ground.
float pavingNoise(float x, float y, float finest_m, uint32_t seed) {
    constexpr float kWidest_m = 1.2f;
    const OctaveValues values = octaveValues(x / kWidest_m, y / kWidest_m, seed);
    float sum = 0, weight = 1, width_m = kWidest_m, total = 0;
    for (const float value : values) {
        total += weight;
        sum += weight * ramp(0.7f, 1.4f, width_m / finest_m) * value;
        weight *= 0.86f;
        width_m *= 0.5f;
    }
    return sum / total;
}

// Leaves and scraps, one or none in each square of half a metre: what `ground` becomes under them.
Rgb litter(float x, float y, uint32_t seed, const Rgb& ground) {
    constexpr float kSquare_m = 0.5f;
    const int32_t i = wholeBelow(x / kSquare_m), j = wholeBelow(y / kSquare_m);
    const uint32_t die = hash(uint32_t(i), uint32_t(j), seed + 400);
    if (unit(die) > 0.35f) return ground;
    const float turn = 6.28f * unit(die * 3), long_m = 0.03f + 0.05f * unit(die * 5);
    const float dx = x - (float(i) + 0.25f + 0.5f * unit(die * 7)) * kSquare_m;
    const float dy = y - (float(j) + 0.25f + 0.5f * unit(die * 11)) * kSquare_m;
    const float along = (std::cos(turn) * dx + std::sin(turn) * dy) / long_m;
    const float across = (std::cos(turn) * dy - std::sin(turn) * dx) / (0.45f * long_m);
    if (along * along + across * across > 1) return ground;
    if (std::abs(across) < 0.12f) return {0.1f, 0.07f, 0.04f};
    return Rgb(0.34f, 0.20f, 0.07f) * (0.5f + unit(die * 13)) * (1.0f + 0.2f * along);
}

Rgb star(const Vector3d& d, uint32_t seed) {
    // The direction's cell on a cube of 48 x 48 cells a face holds one star or none.
    const Vector3d a = d.cwiseAbs();
    int axis = a.x() > a.y() ? 0 : 1;
    if (a.z() > a[axis]) axis = 2;
    const double u = d[(axis + 1) % 3] / a[axis], v = d[(axis + 2) % 3] / a[axis];
    const double cells = 24.0;
    const uint32_t i = uint32_t((u + 1) * cells), j = uint32_t((v + 1) * cells);
    const uint32_t face = uint32_t(axis * 2 + (d[axis] < 0));
    const uint32_t die = hash(i, j, seed * 6u + face + 900u);
    if (unit(die) > 0.008f) return {0, 0, 0};
    const double cu = (i + 0.3 + 0.4 * unit(hash(die, 1, 2))) / cells - 1;
    const double cv = (j + 0.3 + 0.4 * unit(hash(die, 2, 2))) / cells - 1;
    const double near2 = ((u - cu) * (u - cu) + (v - cv) * (v - cv)) / (0.0012 * 0.0012);
    if (near2 >= 1) return {0, 0, 0};
    const float bright = 0.02f + 0.12f * unit(hash(die, 3, 2));
    return Rgb(0.9f, 0.95f, 1.0f) * (bright * float((1 - near2) * (1 - near2)));
}

}  // namespace

Surface groundAt(const SquarePlan& plan, double x_m, double y_m) {
    const float away_m = float(std::hypot(x_m, y_m));
    // One plate pixel (28 mm lens, 2048 wide: 1600 pixels a radian) covers this much of the
    // ground's depth; the camera stands 1.6 m up.
    const float pixel_m = std::max(0.0012f, away_m * away_m / (1.6f * 1600.0f));
    const float finest_m = 2.2f * pixel_m;
    const float x = float(x_m), y = float(y_m);
    const float gx = 0.92f * x + 0.39f * y, gy = -0.39f * x + 0.92f * y;  // paving runs askew

    Surface out;
    constexpr float kLength_m = 0.6f, kWidth_m = 0.4f;
    const float row = std::floor(gy / kWidth_m);
    const float shifted = gx / kLength_m + 0.5f * row;
    const float column = std::floor(shifted);
    const float in_x = (shifted - column) * kLength_m, in_y = gy - row * kWidth_m;
    const float edge_m =
        std::min(std::min(in_x, kLength_m - in_x), std::min(in_y, kWidth_m - in_y));
    const float slabs = 1.0f - ramp(0.12f, 0.35f, pixel_m);
    const float joint =
        (1.0f - ramp(0.006f, 0.012f, edge_m)) * (1.0f - ramp(0.01f, 0.05f, pixel_m));
    const float tint = unit(hash(uint32_t(int(row)), uint32_t(int(column)), plan.seed + 5)) - 0.5f;

    const float grain = pavingNoise(x, y, finest_m, plan.seed + 71);
    float level =
        0.21f * (1.0f + plan.texture * 0.7f * grain) * (1.0f + plan.texture * 0.35f * slabs * tint);
    level *= 1.0f - 0.6f * joint;
    out.albedo = Rgb(1.0f, 0.95f, 0.88f) * level;

    if (away_m < 12 && plan.texture >= 0.5f) out.albedo = litter(x, y, plan.seed, out.albedo);

    const float hollow = octaves(x * 0.22f + 3.1f, y * 0.22f - 1.7f, 4, 0.55f, plan.seed + 300);
    const float wet = ramp(0.10f, 0.24f, hollow);
    out.albedo *= 1.0f - 0.55f * wet;
    out.mirror = wet;

    for (const float side : {-0.72f, 0.72f}) {
        const float off_m = std::abs(y - float(plan.tram_line_m) - side);
        if (off_m < 0.11f) {
            out.albedo = off_m < 0.05f ? Rgb(0.4f, 0.4f, 0.42f) : Rgb(0.05f, 0.05f, 0.05f);
            out.mirror = 0;
        }
    }
    return out;
}

Rgb Sky::radiance(const Vector3d& d) const {
    const float up = std::max(0.0f, float(d.z()));
    if (light == Light::night) {
        const Rgb glow = Rgb(0.018f, 0.0125f, 0.009f) * std::exp(-4.0f * up);
        return Rgb(0.0042f, 0.0052f, 0.0085f) + glow + star(d, seed);
    }
    const float haze = std::exp(-5.0f * up);
    Rgb blue = Rgb(0.16f, 0.30f, 0.62f) * (1 - haze) + Rgb(0.62f, 0.68f, 0.75f) * haze;
    if (up > 0.02f) {
        const float cx = float(d.x()) / (up + 0.15f), cy = float(d.y()) / (up + 0.15f);
        const float cloud = octaves(cx * 1.3f, cy * 1.3f, 6, 0.6f, seed + 40);
        const float cover = ramp(0.05f, 0.45f, cloud) * ramp(0.02f, 0.2f, up) * 0.8f;
        blue = blue * (1 - cover) + Rgb(0.95f, 0.95f, 0.97f) * cover;
    }
    const double off = std::max(0.0, 1.0 - d.dot(towardSun));
    constexpr double kSunRadius = 0.00465;  // radians
    const float disc = 1.0f - ramp(0.85f, 1.0f, float(std::sqrt(2.0 * off) / kSunRadius));
    const float aureole = 0.6f / (1.0f + 900.0f * float(off)) + 0.0004f / float(off + 1e-4);
    return blue + Rgb(1.0f, 0.95f, 0.86f) * aureole + Rgb(5000, 4800, 4400) * disc;
}

}  // namespace plateloom::world
