#include "stitch/compose/light_balance.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "calib/said.h"
#include "stitch/compose/exposure.h"
#include "stitch/compose/light_cells.h"
#include "stitch/compose/overlap_shading.h"

namespace plateloom::stitch {

namespace {

// Plates that share their shading.
struct Settings {
    std::vector<int> of_placed;  // -1: shading is known
    std::vector<std::vector<size_t>> members;
};

bool stopIsUnknown(const Plate& plate) {
    return !plate.lens.t_stop && !plate.lens.f_stop;
}

// Shading goes with the iris: plates of one lens within a sixth of a stop share it, and those whose
// iris nobody knows, unless it is looked at `each` by itself.
Settings settingsOf(const std::vector<Plate>& plates, const std::vector<PlacedPlate>& placed,
                    bool each) {
    constexpr double kSame_stops = 1.0 / 6;
    Settings out;
    out.of_placed.assign(placed.size(), -1);
    const auto same = [&](const Plate& a, const Plate& b) {
        if (a.lens_group != b.lens_group) return false;
        if (stopIsUnknown(a) || stopIsUnknown(b))
            return !each && stopIsUnknown(a) && stopIsUnknown(b);
        const double stop_a = a.lens.t_stop.value_or(a.lens.f_stop.value_or(1));
        const double stop_b = b.lens.t_stop.value_or(b.lens.f_stop.value_or(1));
        return std::abs(2 * std::log2(stop_a / stop_b)) < kSame_stops;
    };
    for (size_t i = 0; i < placed.size(); ++i) {
        const Plate& plate = plates[size_t(placed[i].plate)];
        if (plate.shading_known) continue;
        size_t s = 0;
        while (s < out.members.size() &&
               !same(plate, plates[size_t(placed[out.members[s].front()].plate)]))
            ++s;
        if (s == out.members.size()) out.members.emplace_back();
        out.members[s].push_back(i);
        out.of_placed[i] = int(s);
    }
    return out;
}

std::string lensInWords(const std::vector<Plate>& plates, const std::vector<PlacedPlate>& placed,
                        const std::vector<size_t>& members) {
    const Plate& first = plates[size_t(placed[members.front()].plate)];
    std::string words =
        std::to_string(members.size()) + (members.size() == 1 ? " plate" : " plates");
    if (first.lens.t_stop) words += said(" at T%.1f", *first.lens.t_stop);
    return words;
}

void tell(const FoundShading& found, const std::string& lens, const PlacedPlate& one,
          LightBalance* balance) {
    const double h = one.lens.sensor().halfDiagonal_mm();
    const double corner = found.shading.transmission(h * h);
    if (found.isKnown())
        balance->notes.push_back(
            "shading of " + lens +
            said(" found from the overlaps: the corners lose %.2f stop, +-%.3f", -std::log2(corner),
                 std::max(0.001, found.corner_sigma / corner / std::log(2.0))));
    else
        balance->warnings.push_back(
            "shading of " + lens +
            (found.terms == 0 ? " is not known, and no overlap shows any: none is taken out"
             : found.reach <= 0.8
                 ? said(" is not known, and the overlaps reach only %.0f %% of the way to the "
                        "corners: none is taken out",
                        100 * found.reach)
                 : said(" is not known, and the overlaps tell it to +-%.0f %% only: none is taken "
                        "out (measure it with calibrate shading)",
                        100 * found.corner_sigma)));
}

// A plate with too little overlap to tell its own shading has the middle one of its lens's others.
void standIn(const std::vector<Plate>& plates, const std::vector<PlacedPlate>& placed,
             const Settings& each, std::vector<FoundShading>& found) {
    const auto group = [&](size_t setting) {
        return plates[size_t(placed[each.members[setting].front()].plate)].lens_group;
    };
    const auto corner = [&](size_t setting) {
        const double h = placed[each.members[setting].front()].lens.sensor().halfDiagonal_mm();
        return found[setting].shading.transmission(h * h);
    };
    const std::vector<FoundShading> own = found;
    for (size_t s = 0; s < own.size(); ++s) {
        if (own[s].isKnown()) continue;
        std::vector<size_t> others;
        for (size_t o = 0; o < own.size(); ++o)
            if (own[o].isKnown() && group(o) == group(s)) others.push_back(o);
        if (others.empty()) continue;
        std::sort(others.begin(), others.end(),
                  [&](size_t l, size_t r) { return corner(l) < corner(r); });
        found[s] = own[others[others.size() / 2]];
    }
}

// A shading that overlaps told, but that takes all light before the frame's corner, is none: the
// overlaps hold something else.
void refuseFaults(const std::vector<Plate>& plates, const std::vector<PlacedPlate>& placed,
                  const Settings& settings, std::vector<FoundShading>& found) {
    for (size_t s = 0; s < found.size(); ++s)
        for (const size_t i : settings.members[s]) {
            calib::Lens lens = placed[i].lens.lens();
            lens.shading = found[s].shading;
            if (found[s].isKnown() && calib::faultOf(lens, plates[size_t(placed[i].plate)].sensor))
                found[s] = FoundShading{};
        }
}

void shadeFromOverlaps(const std::vector<Plate>& plates, const std::vector<PlacedPlate>& placed,
                       std::vector<LightCells>& cells, std::vector<io::SolvedPlate>& solved,
                       LightBalance* balance) {
    Settings settings = settingsOf(plates, placed, false);
    if (settings.members.empty()) return;
    auto found = findShading(placed, cells, settings.of_placed);
    const Settings each = settingsOf(plates, placed, true);
    bool one_by_one = false;
    if (each.members.size() > settings.members.size() && found.held_out > 0) {
        // An iris that moved without a word shows in overlaps that are left out.
        constexpr double kWorthwhile = 0.9;
        auto apart = findShading(placed, cells, each.of_placed);
        if (apart.held_out < kWorthwhile * found.held_out) {
            standIn(plates, placed, each, apart.of_setting);
            found = std::move(apart);
            settings = each;
            one_by_one = true;
        }
    }
    refuseFaults(plates, placed, settings, found.of_setting);
    size_t known = 0;
    double least = 1, most = 0;
    for (size_t s = 0; s < found.of_setting.size(); ++s) {
        const auto& of_setting = found.of_setting[s];
        const auto& members = settings.members[s];
        const auto& first = placed[members.front()];
        if (!one_by_one || !of_setting.isKnown())
            tell(of_setting, lensInWords(plates, placed, members), first, balance);
        if (!of_setting.isKnown()) continue;
        ++known;
        const double h = first.lens.sensor().halfDiagonal_mm();
        const double corner = of_setting.shading.transmission(h * h);
        least = std::min(least, corner);
        most = std::max(most, corner);
        for (const size_t i : members) {
            solved[size_t(placed[i].plate)].lens.shading = of_setting.shading;
            cells[i].unshade(placed[i], of_setting.shading);
        }
    }
    if (one_by_one && known > 0)
        balance->notes.push_back(
            said("shading of %zu plates found from the overlaps, each by itself since the iris "
                 "moved: the corners lose %.2f to %.2f stop",
                 known, -std::log2(most), -std::log2(least)));
}

// A gain that is off by more than this shows as a step of light or a tint at a seam.
constexpr double kUncertain_stops = 0.1;

void tellUncertainGain(const Plate& plate, double sigma_stops, const LightCells& cells,
                       LightBalance* balance) {
    if (sigma_stops < kUncertain_stops) return;
    size_t usable = 0;
    for (const auto& light : cells.light) usable += light[0] != LightCells::kNone;
    const double share = double(usable) / double(std::max<size_t>(1, cells.light.size()));
    constexpr double kMostlyClipped = 0.25;
    // Where no light is shared at all, a plate of plain light has no neighbour to make a seam with.
    constexpr double kNothingShared_stops = 0.8;
    if (share >= kMostlyClipped && sigma_stops > kNothingShared_stops) return;
    balance->warnings.push_back(
        plate.file.name() +
        said(": its exposure against the others is known to +-%.2f stop only: ", sigma_stops) +
        (share < kMostlyClipped
             ? said("%.0f %% of it is clipped or holds no picture", 100 * (1 - share))
             : std::string("it shares too little with them")) +
        "; see its seams, and correct gain in the solve file if they show");
}

}  // namespace

LightBalance balanceLight(const std::vector<Plate>& plates, PlateStore& store,
                          std::vector<io::SolvedPlate>& solved) {
    LightBalance balance;
    const auto placed = placedPlates(solved);
    if (placed.empty()) return balance;
    auto cells = lightCells(placed, store);
    if (placed.size() > 1) shadeFromOverlaps(plates, placed, cells, solved, &balance);
    std::vector<std::optional<double>> stops;
    for (const auto& plate : placed) stops.push_back(plates[size_t(plate.plate)].exposure_stops);
    const auto exposure = balanceExposure(placed, cells, stops);
    for (size_t i = 0; i < placed.size(); ++i) {
        auto& plate = solved[size_t(placed[i].plate)];
        for (size_t c = 0; c < 3; ++c) plate.gain[c] = double(exposure.gains[i][c]);
        if (placed.size() < 2) continue;
        plate.gain_sigma_stops = exposure.sigma_stops[i];
        tellUncertainGain(plates[size_t(placed[i].plate)], exposure.sigma_stops[i], cells[i],
                          &balance);
    }
    return balance;
}

}  // namespace plateloom::stitch
