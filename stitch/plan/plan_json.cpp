#include "stitch/plan/plan_json.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <sstream>

namespace plateloom::stitch {

namespace {

constexpr size_t kWidth = 96, kHeading = 11;

std::string shortest(double deg) {
    char text[32];
    std::snprintf(text, sizeof text,
                  std::abs(deg * 10 - std::round(deg * 10)) < 1e-6 ? "%.1f" : "%.2f", deg);
    return text;
}

// `words` after `lead`, further lines indented as far as `lead` is long.
std::string wrapped(const std::string& lead, const std::vector<std::string>& words) {
    std::string out, line = lead;
    const std::string indent(lead.size(), ' ');
    for (const auto& word : words) {
        if (line.size() + 1 + word.size() > kWidth && line.size() > indent.size()) {
            out += line + '\n';
            line = indent;
        }
        line += (line.empty() || line.back() == ' ' ? "" : " ") + word;
    }
    return out + line + '\n';
}

}  // namespace

nlohmann::json jsonOf(const Plan& plan, const PlanWish& wish, const PlanTerms& terms,
                      const io::ShotList& list) {
    nlohmann::json out{{"command", "plan"}, {"plates", plan.shots.size()}, {"rows", plan.rows}};
    if (plan.shots.empty()) {
        out["why_not"] = plan.why_not;
        return out;
    }
    nlohmann::json shots = nlohmann::json::array(), pairs = nlohmann::json::array();
    for (const io::ListedShot& shot : list.shots)
        shots.push_back({{"file", shot.file},
                         {"row", shot.row},
                         {"pan_deg", shot.pose.pan_deg},
                         {"tilt_deg", shot.pose.tilt_deg},
                         {"roll_deg", shot.pose.roll_deg},
                         {"least_overlap", shot.least_overlap}});
    for (const ShotPair& pair : plan.proof.pairs)
        pairs.push_back({{"a", list.shots[size_t(pair.a)].file},
                         {"b", list.shots[size_t(pair.b)].file},
                         {"same_row", pair.same_row},
                         {"overlap", pair.overlap}});
    const PlanFigures f = figuresOf(plan, wish, terms);
    out["shots"] = shots;
    out["pairs"] = pairs;
    out["covered"] = plan.proof.covered;
    out["cells_proven"] = plan.proof.cells;
    out["least_overlap_beside"] = plan.proof.least_beside;
    out["least_overlap_upright"] = plan.proof.least_upright;
    out["panorama"] = {
        {"width", f.panorama_width}, {"height", f.panorama_height}, {"bytes", f.panorama_bytes}};
    out["data"] = {{"plate_bytes", f.plate_bytes},
                   {"all_plates_bytes", f.shoot_bytes},
                   {"minute_bytes", f.minute_bytes},
                   {"frames_per_second", terms.frames_per_second}};
    out["cover_share"] = f.cover_share;
    out["focus"] = {{"f_stop", terms.f_stop},
                    {"circle_mm", f.circle_mm},
                    {"hyperfocal_m", f.hyperfocal_m},
                    {"near_limit_m", f.near_limit_m}};
    if (f.stop_for_nearest) out["focus"]["f_stop_for_nearest"] = *f.stop_for_nearest;
    out["head"] = {{"widest_turn_deg", f.widest_turn_deg}};
    // JSON has no word for infinity: one plate alone has no parallax.
    if (std::isfinite(f.pupil_mm_per_m)) out["head"]["pupil_mm_per_m"] = f.pupil_mm_per_m;
    if (f.pupil_mm && std::isfinite(*f.pupil_mm)) out["head"]["pupil_mm"] = *f.pupil_mm;
    return out;
}

std::string rowsText(const io::ShotList& list) {
    std::string out;
    for (size_t first = 0, next = 0; first < list.shots.size(); first = next) {
        const int row = list.shots[first].row;
        std::vector<std::string> pans;
        for (next = first; next < list.shots.size() && list.shots[next].row == row; ++next)
            pans.push_back(shortest(list.shots[next].pose.pan_deg));
        const std::string shots = "shots " + std::to_string(first + 1) + "-" + std::to_string(next);
        char lead[80];
        std::snprintf(lead, sizeof lead, "row %-3d tilt %6s   %-15s  pan ", row,
                      shortest(list.shots[first].pose.tilt_deg).c_str(), shots.c_str());
        out += wrapped(lead, pans);
    }
    return out + '\n';
}

std::string wrappedFigure(const std::string& what, const std::string& value) {
    std::istringstream in(value);
    std::vector<std::string> words;
    for (std::string word; in >> word;) words.push_back(word);
    std::string lead = what;
    lead.resize(std::max(lead.size() + 1, kHeading), ' ');
    return wrapped(lead, words);
}

}  // namespace plateloom::stitch
