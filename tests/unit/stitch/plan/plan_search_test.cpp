// The shortest path against a search that tries everything: layouts of up to three level rows, of
// every tilt, count and shift of a grid, for lenses without distortion, by other code.
#include "stitch/plan/plan_search.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <tuple>

#include "calib/angle.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::kRadPerDeg;
using calib::Vector3d;

namespace {

struct Frame {
    double a, b;  // half width and height of the flat frame
    [[nodiscard]] bool sees(double plate_pan, double plate_tilt, double pan, double tilt) const {
        const double p = (pan - plate_pan) * kRadPerDeg, t = tilt * kRadPerDeg;
        const double x = -std::sin(p) * std::cos(t), y = std::cos(p) * std::cos(t), z = std::sin(t);
        const double c = std::cos(plate_tilt * kRadPerDeg), s = std::sin(plate_tilt * kRadPerDeg);
        const double forward = c * y + s * z, up = c * z - s * y;
        return forward > 0 && std::abs(x) <= a * forward && std::abs(up) <= b * forward;
    }
    // Share of one plate's picture that another sees.
    [[nodiscard]] double overlap(double pan_a, double tilt_a, double pan_b, double tilt_b) const {
        constexpr int kAcross = 40, kUpright = 24;
        int count = 0;
        for (int j = 0; j < kUpright; ++j)
            for (int i = 0; i < kAcross; ++i) {
                const double u = a * ((i + 0.5) / kAcross * 2 - 1);
                const double v = b * ((j + 0.5) / kUpright * 2 - 1);
                const double c = std::cos(tilt_a * kRadPerDeg), s = std::sin(tilt_a * kRadPerDeg);
                const double y = c - s * v, z = s + c * v;
                const double pan = pan_a + std::atan2(-u, y) / kRadPerDeg;
                const double tilt = std::atan2(z, std::hypot(u, y)) / kRadPerDeg;
                count += sees(pan_b, tilt_b, pan, tilt);
            }
        return double(count) / (kAcross * kUpright);
    }
};

struct Layout {
    std::vector<double> tilt, shift;
    std::vector<int> count;
};

class Everything {
public:
    Everything(const Frame& frame, double overlap, double low, double high)
        : frame_(frame), overlap_(overlap), low_(low), high_(high) {}

    // Whether any layout of `rows` rows has no more than `most` plates.
    bool any(int rows, int most) { return next({}, rows, most); }

private:
    bool next(const Layout& layout, int rows, int left) {
        if (rows == 0) return covered(layout);
        const double from = layout.tilt.empty() ? low_ : layout.tilt.back() + kStep_deg;
        for (double tilt = from; tilt <= high_; tilt += kStep_deg)
            for (int n = leastCount(tilt); n <= left - 2 * (rows - 1); ++n)
                for (const double shift : {0.0, 0.5}) {
                    if (layout.tilt.empty() && shift > 0) continue;
                    Layout longer = layout;
                    longer.tilt.push_back(tilt), longer.count.push_back(n);
                    longer.shift.push_back(shift * 360 / n);
                    if (longer.tilt.size() > 1 && !overlaps(longer)) continue;
                    if (next(longer, rows - 1, left - n)) return true;
                }
        return false;
    }

    int leastCount(double tilt) {
        int n = 2;
        while (overlap(0, tilt, 360.0 / n, tilt) < overlap_) ++n;
        return n;
    }

    double overlap(double pan_a, double tilt_a, double pan_b, double tilt_b) {
        const double off = std::abs(std::remainder(pan_a - pan_b, 360.0));
        const std::tuple key(std::lround(off * 1000), std::lround(tilt_a * 10),
                             std::lround(tilt_b * 10));
        const auto [place, fresh] = known_.try_emplace(key, 0);
        if (fresh) place->second = frame_.overlap(off, tilt_a, 0, tilt_b);
        return place->second;
    }

    // Each plate of the last two rows with its best partner in the other.
    bool overlaps(const Layout& l) {
        const size_t b = l.tilt.size() - 1, a = b - 1;
        const auto bestOf = [&](size_t of, size_t in) {
            for (int i = 0; i < l.count[of]; ++i) {
                double best = 0;
                for (int k = 0; k < l.count[in]; ++k)
                    best =
                        std::max(best, overlap(l.shift[of] + i * 360.0 / l.count[of], l.tilt[of],
                                               l.shift[in] + k * 360.0 / l.count[in], l.tilt[in]));
                if (best < overlap_) return false;
            }
            return true;
        };
        return bestOf(a, b) && bestOf(b, a);
    }

    bool covered(const Layout& l) const {
        for (double tilt = low_; tilt <= high_; tilt += 1)
            for (double pan = 0; pan < 360; pan += 2) {
                bool seen = false;
                for (size_t r = 0; r < l.tilt.size() && !seen; ++r)
                    for (int i = 0; i < l.count[r] && !seen; ++i)
                        seen =
                            frame_.sees(l.shift[r] + i * 360.0 / l.count[r], l.tilt[r], pan, tilt);
                if (!seen) return false;
            }
        return true;
    }

    static constexpr double kStep_deg = 3;
    Frame frame_;
    double overlap_, low_, high_;
    std::map<std::tuple<long, long, long>, double> known_;
};

}  // namespace

TEST_CASE("No layout of level rows has a tenth fewer plates", "[plan]") {
    struct Wish {
        double focal_mm, height_mm, overlap, low, high;
    };
    for (const Wish& w : {Wish{12, 20.25, 0.3, -40, 40}, Wish{18, 20.25, 0.3, 0, 60},
                          Wish{20, 27, 0.15, -45, 45}}) {
        PlanWish wish;
        calib::Lens lens;
        lens.focal_mm = w.focal_mm;
        wish.lens = calib::LensMap(lens, {36, w.height_mm, 3600, int(w.height_mm * 100)});
        wish.overlap = w.overlap;
        wish.tilt_from_deg = w.low, wish.tilt_to_deg = w.high;
        const Plan plan = planShots(wish);
        REQUIRE_FALSE(plan.shots.empty());
        const int plates = int(plan.shots.size());
        const int fewer = int(std::ceil(plates / 1.1 - 1e-9)) - 1;
        CAPTURE(w.focal_mm, plates, plan.rows, fewer);
        Everything all({18 / w.focal_mm, 0.5 * w.height_mm / w.focal_mm}, w.overlap, w.low, w.high);
        for (int rows = 1; rows <= 3; ++rows) CHECK_FALSE(all.any(rows, fewer));
        // And the search that tries everything does find something with a few more plates.
        CHECK(all.any(plan.rows, plates + 3));
    }
}
