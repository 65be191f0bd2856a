// Transfer curves against figures that their standards print or define.
#include "io/transfer_curves.h"

#include <catch2/catch.hpp>

using namespace plateloom::io;

namespace {
constexpr double kRelative = 1e-5;
}

TEST_CASE("sRGB's curve passes through the points of IEC 61966-2-1", "[external]") {
    // The standard's break: 0.04045 / 12.92.
    CHECK(linearFromSrgb(0.04045f) == Approx(0.0031308).epsilon(1e-4));
    CHECK(linearFromSrgb(0.0f) == 0.0f);
    CHECK(linearFromSrgb(1.0f) == Approx(1.0).epsilon(kRelative));
    // Derived from the printed formula: ((0.5 + 0.055) / 1.055)^2.4.
    CHECK(linearFromSrgb(0.5f) == Approx(0.21404114).epsilon(kRelative));
    CHECK(srgbFromLinear(0.18f) == Approx(0.46135613).epsilon(kRelative));
}

TEST_CASE("Rec.709's curve passes through the points of ITU-R BT.709-6", "[external]") {
    // Item 1.2: V = 4.500 L below L = 0.018, so the pieces meet at V = 0.081.
    CHECK(linearFromRec709(0.081f) == Approx(0.018).epsilon(1e-3));
    CHECK(linearFromRec709(0.045f) == Approx(0.01).epsilon(kRelative));
    // Derived: V(0.18) = 1.099 x 0.18^0.45 - 0.099.
    CHECK(linearFromRec709(0.40900773f) == Approx(0.18).epsilon(kRelative));
    CHECK(linearFromRec709(1.0f) == Approx(1.0).epsilon(kRelative));
}

TEST_CASE("ACEScct's curve passes through the points of S-2016-001", "[external]") {
    // X_BRK = 0.0078125 at Y_BRK = 0.155251141552511; ACES 0 at 0.0729055341958355.
    CHECK(linearFromAcescct(0.155251141552511f) == Approx(0.0078125).epsilon(kRelative));
    CHECK(linearFromAcescct(0.0729055341958355f) == Approx(0.0).margin(1e-8));
    // 18 % grey, from the formula (log2 0.18 + 9.72) / 17.52.
    CHECK(linearFromAcescct(0.41358840f) == Approx(0.18).epsilon(kRelative));
    // The largest half and no more, at (log2 65504 + 9.72) / 17.52 = 1.46799631204.
    CHECK(linearFromAcescct(1.467996f) == Approx(65504.0).epsilon(1e-4));
    CHECK(linearFromAcescct(1.6f) == 65504.0f);
}

TEST_CASE("ACEScc's curve passes through the points of S-2014-003", "[external]") {
    // ACES 0 is (-16 + 9.72) / 17.52 = -0.3584474886; 2^-15 lies at the break.
    CHECK(linearFromAcescc(-0.3584474886f) == Approx(0.0).margin(1e-8));
    CHECK(linearFromAcescc((9.72f - 15.0f) / 17.52f) == Approx(0x1p-15).epsilon(1e-4));
    CHECK(linearFromAcescc(0.41358840f) == Approx(0.18).epsilon(kRelative));
    CHECK(linearFromAcescc(1.6f) == 65504.0f);
}
