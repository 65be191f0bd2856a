#include "stitch/plan/plan_list.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/frame_outline.h"
#include "calib/said.h"
#include "stitch/survey/cover.h"

namespace plateloom::stitch {

namespace {

std::string bytes(double count) {
    const char* unit[] = {"B", "kB", "MB", "GB", "TB", "PB"};
    int step = 0;
    for (; count >= 1000 && step < 5; ++step) count /= 1000;
    return said(count < 10 ? "%.2f %s" : count < 100 ? "%.1f %s" : "%.0f %s", count, unit[step]);
}

// Three digits, as a focus scale is read.
std::string metres(double m) {
    return m >= 1000 ? said("%.0f m", m) : said("%.3g m", m);
}

std::string millimetres(double mm) {
    return said(mm < 1 ? "%.2f mm" : mm < 10 ? "%.1f mm" : "%.0f mm", mm);
}

std::string coverText(const PlanWish& wish) {
    std::string low = said("%g", wish.tilt_from_deg), high = said("%g", wish.tilt_to_deg);
    if (wish.nadir) low = "straight down";
    if (wish.zenith) high = "straight up";
    return said("pan %g to %g, tilt %s to %s", wish.pan_from_deg, wish.pan_to_deg, low.c_str(),
                high.c_str());
}

std::string proofText(const Plan& plan, const PlanWish& wish) {
    std::string out =
        said("%zu plates in %d rows leave nothing of it uncovered", plan.shots.size(), plan.rows);
    if (plan.shots.size() == 1) out = "one plate sees all of it";
    bool beside = false, upright = false;
    for (const ShotPair& pair : plan.proof.pairs) (pair.same_row ? beside : upright) = true;
    if (beside || upright) out += "; neighbours share";
    // Rounded down: what is promised is at least this.
    const auto share = [](double overlap) { return 0.1 * std::floor(overlap * 1000); };
    if (beside) out += said(" %.1f %% or more beside", share(plan.proof.least_beside));
    if (beside && upright) out += ",";
    if (upright) out += said(" %.1f %% or more above and below", share(plan.proof.least_upright));
    if (beside || upright) out += said(" (wanted: %g %%)", 100 * wish.overlap);
    return out;
}

std::string focusText(const PlanFigures& f, const PlanTerms& terms) {
    std::string out = said(
        "lock at %s, the hyperfocal distance at f/%g: from %s on nothing is blurred by more than "
        "one "
        "panorama pixel (%.4f mm on the sensor)",
        metres(f.hyperfocal_m).c_str(), terms.f_stop, metres(f.near_limit_m).c_str(), f.circle_mm);
    if (!terms.nearest_m) return out;
    if (*terms.nearest_m >= f.near_limit_m)
        return out + "; the nearest thing, at " + metres(*terms.nearest_m) + ", is within that";
    out += "; the nearest thing, at " + metres(*terms.nearest_m) + ", is not";
    if (f.stop_for_nearest)
        out += said(": that would take f/%.1f, focused at %s", *f.stop_for_nearest,
                    metres(2 * *terms.nearest_m).c_str());
    return out;
}

std::string headText(const PlanFigures& f, const PlanTerms& terms) {
    if (f.widest_turn_deg <= 0) return "one plate: nothing turns";
    std::string out = said(
        "parallax stays within one panorama pixel while the axis is %s or less from the "
        "entrance pupil for each metre to the nearest thing",
        millimetres(f.pupil_mm_per_m).c_str());
    if (f.pupil_mm)
        out +=
            said(": %s at %s", millimetres(*f.pupil_mm).c_str(), metres(*terms.nearest_m).c_str());
    return out;
}

std::vector<std::pair<std::string, std::string>> figureTexts(const Plan& plan, const PlanWish& wish,
                                                             const PlanTerms& terms) {
    const PlanFigures f = figuresOf(plan, wish, terms);
    const calib::FrameOutline outline(wish.lens);
    const calib::Sensor& sensor = wish.lens.sensor();
    return {
        {"Camera",
         said("%.4g mm on %g x %g mm, %d x %d pixels; it sees %.1f x %.1f degrees",
              wish.lens.lens().focal_mm, sensor.width_mm, sensor.height_mm, sensor.width_px,
              sensor.height_px, outline.across_deg(), outline.upright_deg())},
        {"Cover", coverText(wish) + said(": %.1f %% of the sphere", 100 * f.cover_share)},
        {"Proven", proofText(plan, wish)},
        {"Panorama", said("%d x %d at the plates' own resolution, %s in half RGBA",
                          f.panorama_width, f.panorama_height, bytes(f.panorama_bytes).c_str())},
        {"Data", said("%s a frame in half RGB, uncompressed; %s for one frame of every plate; %s "
                      "for a minute of one plate at %g frames a second",
                      bytes(f.plate_bytes).c_str(), bytes(f.shoot_bytes).c_str(),
                      bytes(f.minute_bytes).c_str(), terms.frames_per_second)},
        {"Focus", focusText(f, terms)},
        {"Head", headText(f, terms)}};
}

// The outline of a plate with a pole inside goes once round it; unrolled, it ends where the pole is
// the whole edge.
void closeOverPole(double tilt_deg, std::vector<calib::Vector2d>* outline_deg) {
    if (outline_deg->empty()) return;
    const double first = outline_deg->front().x(), last = outline_deg->back().x();
    if (std::abs(last - first) < 180) return;
    const double pole = std::copysign(90.0, tilt_deg);
    outline_deg->emplace_back(last, pole);
    outline_deg->emplace_back(first, pole);
}

// The trade's usual cautions (common practice). None of them knows the place.
std::vector<std::string> cautions() {
    return {
        "Lock focus, iris, focal length, shutter, ISO and white balance before the first plate; "
        "note whatever moves.",
        "Never point the lens at the sun, a laser or another source that can harm eyes or the "
        "sensor; plan such pans for another hour, or cover them.",
        "A rig on a vehicle, a road or a rail, at a height, on a crane, near water or power lines, "
        "and every drone: local rules, permits and the practice of those licensed for it decide, "
        "not this list.",
        "Secure camera, head and lens with a second line where they could fall on anybody.",
        "People and private places in the plates: clear it before the shoot."};
}

}  // namespace

std::string fileNameOf(const std::string& pattern, int number) {
    const size_t first = pattern.find('#');
    if (first == std::string::npos) {
        const size_t dot = pattern.rfind('.');
        const std::string stem = pattern.substr(0, dot);
        return stem + said(".%04d", number) + (dot == std::string::npos ? "" : pattern.substr(dot));
    }
    size_t last = first;
    while (last < pattern.size() && pattern[last] == '#') ++last;
    return pattern.substr(0, first) + said("%0*d", int(last - first), number) +
           pattern.substr(last);
}

io::ShotList shotListOf(const Plan& plan, const PlanWish& wish, const PlanTerms& terms,
                        const std::string& pattern, int first_number) {
    io::ShotList list;
    list.title = "Shot list";
    list.lens = wish.lens.lens();
    list.sensor = wish.lens.sensor();
    list.pan_from_deg = wish.pan_from_deg, list.pan_to_deg = wish.pan_to_deg;
    list.tilt_from_deg = wish.nadir ? -90 : wish.tilt_from_deg;
    list.tilt_to_deg = wish.zenith ? 90 : wish.tilt_to_deg;
    for (size_t i = 0; i < plan.shots.size(); ++i) {
        const PlannedShot& shot = plan.shots[i];
        io::ListedShot listed;
        listed.file = fileNameOf(pattern, first_number + int(i));
        listed.row = shot.row + 1;
        listed.pose = shot.pose;
        constexpr int kPointsASide = 24;
        for (const auto& [pan, tilt] :
             SphereFrame(wish.lens, calib::worldFromCamera(shot.pose)).outline(kPointsASide))
            listed.outline_deg.emplace_back(pan, tilt);
        closeOverPole(shot.pose.tilt_deg, &listed.outline_deg);
        list.shots.push_back(std::move(listed));
    }
    for (const ShotPair& pair : plan.proof.pairs)
        for (const int shot : {pair.a, pair.b}) {
            double& least = list.shots[size_t(shot)].least_overlap;
            least = std::min(least, pair.overlap);
        }
    list.figures = figureTexts(plan, wish, terms);
    list.cautions = cautions();
    return list;
}

}  // namespace plateloom::stitch
