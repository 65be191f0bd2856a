#include "stitch/survey/cover_findings.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <set>

#include "calib/pose.h"
#include "calib/said.h"

namespace plateloom::stitch {

namespace {

using calib::Vector3d;

// Shares of a picture: below the first, ties are a matter of luck; below the second a seam has
// little room to go round what moved (common practice asks for 20 to 30 %).
constexpr double kLeastOverlap = 0.06, kPoorOverlap = 0.12;

double shortTurn_deg(double from_deg, double to_deg) {
    return std::remainder(from_deg - to_deg, 360.0);
}

// Where a plate belongs that fills the hole: on the nearest row's tilt, if the hole reaches it.
PanTilt_deg aimAt(const Hole& hole, const std::vector<PlateRow>& rows) {
    PanTilt_deg aim{hole.pan_deg, hole.tilt_deg};
    double nearest = 0.5 * hole.height_deg + 2;
    for (const auto& row : rows) {
        const double off = std::abs(row.tilt_deg - hole.tilt_deg);
        if (row.plates.size() < 2 || off > nearest) continue;
        nearest = off;
        aim[1] = row.tilt_deg;
    }
    return aim;
}

std::string sizeInWords(double width_deg, double height_deg) {
    const char* format =
        std::min(width_deg, height_deg) < 3 ? "%.1f x %.1f degrees" : "%.0f x %.0f degrees";
    return said(format, width_deg, height_deg);
}

// The plate that would fill a hole. What else it fixes is no second fault.
struct Filling {
    PanTilt_deg aim;
    SphereFrame frame;
    size_t finding;
    int holes = 1;
};

SphereFrame frameAt(const PanTilt_deg& aim, const std::vector<PlacedPlate>& placed) {
    const Vector3d direction = directionOf(aim);
    const auto nearest =
        std::max_element(placed.begin(), placed.end(), [&](const auto& l, const auto& r) {
            return l.worldFromCamera.col(1).dot(direction) <
                   r.worldFromCamera.col(1).dot(direction);
        });
    return {nearest->lens, calib::worldFromCamera({aim[0], aim[1], 0})};
}

// Whether that plate, aimed a little better, fills this hole too.
bool fills(const SphereFrame& frame, const Hole& hole) {
    constexpr double kMost = 0.6;
    const auto seen =
        std::count_if(hole.outline.begin(), hole.outline.end(),
                      [&](const PanTilt_deg& corner) { return frame.sees(directionOf(corner)); });
    return frame.sees(directionOf({hole.pan_deg, hole.tilt_deg})) &&
           double(seen) > kMost * double(hole.outline.size());
}

std::vector<Filling> addHoles(const std::vector<PlacedPlate>& placed,
                              const std::vector<PlateRow>& rows, Survey& survey) {
    std::vector<Filling> fillings;
    for (const auto& hole : survey.holes) {
        const auto by = std::find_if(fillings.begin(), fillings.end(), [&](const Filling& filling) {
            return fills(filling.frame, hole);
        });
        if (by != fillings.end()) {
            ++by->holes;
            continue;
        }
        Finding finding{FindingKind::hole, true, {}, {}, {}, {}, {}};
        const auto aim = aimAt(hole, rows);
        finding.pan_deg = hole.pan_deg;
        finding.tilt_deg = hole.tilt_deg;
        finding.text = "hole at " + inWords(hole.pan_deg, hole.tilt_deg) + ": " +
                       sizeInWords(hole.width_deg, hole.height_deg) + " that no plate sees";
        finding.advice = "shoot a plate at " + inWords(aim[0], aim[1]);
        if (!placed.empty())
            fillings.push_back({aim, frameAt(aim, placed), survey.findings.size()});
        survey.findings.push_back(finding);
    }
    for (const auto& filling : fillings)
        if (filling.holes > 1)
            survey.findings[filling.finding].advice += said(
                "; it fills %s as well",
                filling.holes == 2 ? "a smaller one beside it"
                                   : said("%d smaller ones beside it", filling.holes - 1).c_str());
    return fillings;
}

// What the plate that fills a hole fixes as well is not told as grave once more.
void tellWithHole(const std::vector<Filling>& fillings, Finding& finding) {
    const auto direction = directionOf({*finding.pan_deg, *finding.tilt_deg});
    if (std::none_of(fillings.begin(), fillings.end(),
                     [&](const Filling& filling) { return filling.frame.sees(direction); }))
        return;
    finding.grave = false;
    finding.advice = "the plate that fills the hole there fixes this too";
}

// Which neighbour stands on which side, in words of the picture: pan grows to the left.
std::string sideOf(const calib::PanTiltRoll& from, const calib::PanTiltRoll& to) {
    const double right = shortTurn_deg(from.pan_deg, to.pan_deg) *
                         std::cos(0.0174533 * 0.5 * (from.tilt_deg + to.tilt_deg));
    const double up = to.tilt_deg - from.tilt_deg;
    if (std::abs(right) >= std::abs(up)) return right > 0 ? "to its right" : "to its left";
    return up > 0 ? "above it" : "below it";
}

void addOverlaps(const std::vector<PlacedPlate>& placed, const std::vector<PlateRow>& rows,
                 const std::vector<Filling>& fillings, Survey& survey) {
    std::map<std::pair<int, int>, const SurveyedPair*> pairs;
    for (const auto& pair : survey.pairs) pairs[{pair.a, pair.b}] = &pair;
    std::set<std::pair<int, int>> told;
    for (const auto& row : rows) {
        const size_t n = row.plates.size();
        for (size_t i = 0; i + (row.closed ? 0 : 1) < n; ++i) {
            const int left = placed[size_t(row.plates[i])].plate;
            const int right = placed[size_t(row.plates[(i + 1) % n])].plate;
            if (left == right || !told.insert(std::minmax(left, right)).second) continue;
            const auto found = pairs.find(std::minmax(left, right));
            // Nothing at all in common is a hole, and told as such.
            if (found == pairs.end()) continue;
            const auto& pair = *found->second;
            if (pair.overlap >= kPoorOverlap) continue;
            const auto &plate = survey.plates[size_t(left)], &other = survey.plates[size_t(right)];
            Finding finding{FindingKind::overlap, pair.overlap < kLeastOverlap, {}, {}, {}, {}, {}};
            finding.plates = {plate.file, other.file};
            const double turn = shortTurn_deg(plate.pose.pan_deg, other.pose.pan_deg);
            finding.pan_deg = std::remainder(plate.pose.pan_deg - 0.5 * turn, 360.0);
            finding.tilt_deg = 0.5 * (plate.pose.tilt_deg + other.pose.tilt_deg);
            finding.text = plate.file + " (" + inWords(plate.pose.pan_deg, plate.pose.tilt_deg) +
                           said(") shares only %.0f %% with ", 100 * pair.overlap) + other.file +
                           " " + sideOf(plate.pose, other.pose);
            finding.advice =
                "shoot one more between them, at " + inWords(*finding.pan_deg, *finding.tilt_deg);
            tellWithHole(fillings, finding);
            survey.findings.push_back(finding);
        }
    }
}

// The plate of the row below that shares most with this one; none where the row does not reach
// this pan.
struct Below {
    int plate = -1;  // in the survey
    double overlap = 0;
};
Below bestBelow(int plate, const PlateRow& below, const std::vector<PlacedPlate>& placed,
                const Survey& survey) {
    Below best;
    for (const auto& pair : survey.pairs) {
        if (pair.a != plate && pair.b != plate) continue;
        const int other = pair.a == plate ? pair.b : pair.a;
        const bool in_row = std::any_of(below.plates.begin(), below.plates.end(),
                                        [&](int p) { return placed[size_t(p)].plate == other; });
        if (in_row && pair.overlap > best.overlap) best = {other, pair.overlap};
    }
    return best;
}

// Rows that hardly share anything tie only at their ends, and bend against each other.
void addRowOverlaps(const std::vector<PlacedPlate>& placed, const std::vector<PlateRow>& rows,
                    const std::vector<Filling>& fillings, Survey& survey) {
    std::vector<PlateRow> by_tilt;
    for (const auto& row : rows)
        if (row.plates.size() > 1) by_tilt.push_back(row);
    std::sort(by_tilt.begin(), by_tilt.end(),
              [](const PlateRow& l, const PlateRow& r) { return l.tilt_deg < r.tilt_deg; });
    for (size_t i = 1; i < by_tilt.size(); ++i)
        for (const int member : by_tilt[i].plates) {
            const int upper = placed[size_t(member)].plate;
            const Below best = bestBelow(upper, by_tilt[i - 1], placed, survey);
            if (best.plate < 0 || best.overlap >= kLeastOverlap) continue;
            const auto &plate = survey.plates[size_t(upper)],
                       &other = survey.plates[size_t(best.plate)];
            Finding finding{FindingKind::overlap, true, {plate.file, other.file}, {}, {}, {}, {}};
            finding.pan_deg = plate.pose.pan_deg;
            finding.tilt_deg = 0.5 * (plate.pose.tilt_deg + other.pose.tilt_deg);
            finding.text = plate.file + " (" + inWords(plate.pose.pan_deg, plate.pose.tilt_deg) +
                           said(") shares at most %.0f %% with the row below it (%s)",
                                100 * best.overlap, other.file.c_str());
            finding.advice = "shoot one more between the rows, at " +
                             inWords(*finding.pan_deg, *finding.tilt_deg);
            tellWithHole(fillings, finding);
            survey.findings.push_back(finding);
        }
}

// Plates that do not hang together with the largest group.
void addNotTied(Survey& survey) {
    for (const auto& plate : survey.plates) {
        if (plate.placed && plate.placed_by != "pose") continue;
        if (survey.plates.size() == 1) continue;
        Finding finding{FindingKind::not_tied, !plate.placed, {plate.file}, {}, {}, {}, {}};
        if (plate.placed) {
            finding.pan_deg = plate.pose.pan_deg;
            finding.tilt_deg = plate.pose.tilt_deg;
        }
        finding.text =
            plate.file +
            (plate.placed ? " stands by its reported direction alone" : " can't be placed") +
            (plate.why.empty() ? "" : ": " + plate.why);
        finding.advice = plate.placed
                             ? "keep it if what it shows can do without a tie (sky); else shoot it "
                               "again with more overlap"
                             : "shoot it again with more of its neighbours in the picture";
        survey.findings.push_back(finding);
    }
}

}  // namespace

std::string inWords(double pan_deg, double tilt_deg) {
    const auto whole = [](double value) { return std::lround(value); };
    return said("pan %ld, tilt %ld", whole(pan_deg), whole(tilt_deg));
}

std::string inWords(const std::vector<std::string>& plates) {
    constexpr size_t kMost = 3;
    std::string names;
    const size_t shown = plates.size() <= kMost ? plates.size() : kMost - 1;
    for (size_t i = 0; i < shown; ++i) {
        if (i) names += i + 1 == plates.size() ? " and " : ", ";
        names += plates[i];
    }
    if (shown < plates.size()) names += " and " + std::to_string(plates.size() - shown) + " more";
    return names;
}

void sortFindings(std::vector<Finding>& findings) {
    std::stable_sort(findings.begin(), findings.end(), [](const Finding& l, const Finding& r) {
        return std::pair(!l.grave, int(l.kind)) < std::pair(!r.grave, int(r.kind));
    });
}

std::string verdictOf(const Survey& survey) {
    const auto grave = size_t(std::count_if(survey.findings.begin(), survey.findings.end(),
                                            [](const Finding& f) { return f.grave; }));
    if (grave > 0)
        return "Not yet: " + survey.findings.front().text +
               (grave > 1 ? " (and " + std::to_string(grave - 1) + " more to fix)" : "");
    const auto placed = size_t(std::count_if(survey.plates.begin(), survey.plates.end(),
                                             [](const auto& plate) { return plate.placed; }));
    std::string verdict = "It holds: " + std::to_string(placed) +
                          (placed == 1 ? " plate" : " plates") + ", " + survey.cover.wanted +
                          ", no hole";
    if (!survey.findings.empty())
        verdict += said("; %zu thing%s to know", survey.findings.size(),
                        survey.findings.size() == 1 ? "" : "s");
    return verdict;
}

void addCoverFindings(const std::vector<PlacedPlate>& placed, const std::vector<PlateRow>& rows,
                      Survey& survey) {
    const auto fillings = addHoles(placed, rows, survey);
    addOverlaps(placed, rows, fillings, survey);
    addRowOverlaps(placed, rows, fillings, survey);
    addNotTied(survey);
    sortFindings(survey.findings);
}

}  // namespace plateloom::stitch
