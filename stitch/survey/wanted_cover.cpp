#include "stitch/survey/wanted_cover.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>
#include <tuple>

#include "calib/angle.h"
#include "calib/median.h"

namespace plateloom::stitch {

namespace {

using calib::kDegPerRad;

// Fewer plates than this at one tilt are no row (a plate of the sky, say) if there are better ones.
constexpr size_t kLeastInRow = 3;
// A plate that looks this steeply is a cap: the pole is wanted.
constexpr double kCap_deg = 75;

PanTilt_deg middleOf(const SphereFrame& frame) {
    return panTiltOf(frame.middle());
}

// Half the picture's angle from top to bottom, about.
double halfHeight_deg(const SphereFrame& frame) {
    const auto edge = frame.edge(2);  // corner, middle of the top, corner, middle of the right ...
    if (edge.size() < 8) return 0;
    return 0.5 * std::acos(std::clamp(edge[1].dot(edge[5]), -1.0, 1.0)) * kDegPerRad;
}

// Turn to the right from one pan to another, in [0, 360).
double rightTurn_deg(double from_deg, double to_deg) {
    double turn = std::fmod(from_deg - to_deg, 360.0);
    if (turn < 0) turn += 360;
    return turn;
}

struct Steps {
    std::vector<double> after_deg;  // from each plate of the row to the next, the last to the first
    double usual_deg = 0;
    double largest_deg = 0;
    size_t largest_after = 0;
};

Steps stepsOf(const PlateRow& row, const std::vector<SphereFrame>& frames) {
    Steps steps;
    const size_t n = row.plates.size();
    for (size_t i = 0; i < n; ++i) {
        const double from = middleOf(frames[size_t(row.plates[i])])[0];
        const double to = middleOf(frames[size_t(row.plates[(i + 1) % n])])[0];
        steps.after_deg.push_back(n == 1 ? 360 : rightTurn_deg(from, to));
        if (steps.after_deg.back() > steps.largest_deg) {
            steps.largest_deg = steps.after_deg.back();
            steps.largest_after = i;
        }
    }
    steps.usual_deg = calib::median(steps.after_deg);
    return steps;
}

// The tilt at which a frame's picture ends along one meridian, upwards or downwards from a tilt
// inside it.
std::optional<double> reachAlong(const SphereFrame& frame, double pan_deg, double from_deg,
                                 bool up) {
    if (!frame.sees(directionOf({pan_deg, from_deg}))) return std::nullopt;
    double inside = from_deg, outside = up ? 90.0 : -90.0;
    constexpr double kStep_deg = 1;
    for (double tilt = from_deg; std::abs(tilt) < 90; tilt += up ? kStep_deg : -kStep_deg) {
        if (!frame.sees(directionOf({pan_deg, tilt}))) {
            outside = tilt;
            break;
        }
        inside = tilt;
    }
    for (int halving = 0; halving < 10; ++halving) {
        const double middle = 0.5 * (inside + outside);
        (frame.sees(directionOf({pan_deg, middle})) ? inside : outside) = middle;
    }
    return inside;
}

// How far up (or down) two neighbours cover every pan between their middles; nothing where they
// leave a gap at the row's own tilt.
std::optional<double> jointReach(const SphereFrame& left, const SphereFrame& right,
                                 double row_tilt_deg, bool up) {
    constexpr int kPans = 48;
    const double from = middleOf(left)[0], turn = rightTurn_deg(from, middleOf(right)[0]);
    std::optional<double> least;
    for (int i = 0; i <= kPans; ++i) {
        const double pan = from - turn * i / kPans;
        std::optional<double> reach;
        for (const auto* frame : {&left, &right}) {
            const auto one = reachAlong(*frame, pan, row_tilt_deg, up);
            if (one && (!reach || (up ? *one > *reach : *one < *reach))) reach = one;
        }
        if (!reach) return std::nullopt;
        if (!least || (up ? *reach < *least : *reach > *least)) least = reach;
    }
    return least;
}

// The band's limit on one side of a row: its worst joint, joints that are out of the usual left
// aside.
std::optional<double> rowReach(const PlateRow& row, const std::vector<SphereFrame>& frames,
                               bool up) {
    std::vector<double> reaches;
    const size_t n = row.plates.size();
    for (size_t i = 0; i < n; ++i) {
        if (n == 2 && i == 1) break;
        const auto reach = jointReach(frames[size_t(row.plates[i])],
                                      frames[size_t(row.plates[(i + 1) % n])], row.tilt_deg, up);
        if (reach) reaches.push_back(*reach);
    }
    if (reaches.empty()) return std::nullopt;
    const double usual = calib::median(reaches);
    constexpr double kUnusual_deg = 4;
    double limit = usual;
    for (const double reach : reaches) {
        if (std::abs(reach - usual) > kUnusual_deg) continue;
        limit = up ? std::min(limit, reach) : std::max(limit, reach);
    }
    return limit;
}

std::vector<PlateRow> properRows(const std::vector<PlateRow>& rows) {
    for (const size_t least : {kLeastInRow, size_t(2)}) {
        std::vector<PlateRow> proper;
        for (const auto& row : rows)
            if (row.plates.size() >= least) proper.push_back(row);
        if (!proper.empty()) return proper;
    }
    return {};
}

// Pans that any row spans: all round, or from the leftmost middle to the rightmost.
void setPans(const std::vector<PlateRow>& rows, const std::vector<SphereFrame>& frames,
             WantedCover& wanted) {
    wanted.all_round =
        std::any_of(rows.begin(), rows.end(), [](const PlateRow& row) { return row.closed; });
    if (wanted.all_round) return;
    std::vector<double> pans;
    for (const auto& row : rows)
        for (const int plate : row.plates) pans.push_back(middleOf(frames[size_t(plate)])[0]);
    std::sort(pans.rbegin(), pans.rend());
    double widest = -1;
    for (size_t i = 0; i < pans.size(); ++i) {
        const double next = pans[(i + 1) % pans.size()];
        const double gap = pans.size() == 1 ? 360 : rightTurn_deg(pans[i], next);
        if (gap <= widest) continue;
        widest = gap;
        wanted.first_pan_deg = next;
        wanted.last_pan_deg = pans[i];
    }
}

void setTilts(const std::vector<PlateRow>& rows, const std::vector<SphereFrame>& frames,
              WantedCover& wanted) {
    wanted.low_deg = 1;
    wanted.high_deg = -1;
    bool any = false;
    for (const auto& row : rows) {
        const auto low = rowReach(row, frames, false), high = rowReach(row, frames, true);
        if (!low || !high) continue;
        wanted.low_deg = any ? std::min(wanted.low_deg, *low) : *low;
        wanted.high_deg = any ? std::max(wanted.high_deg, *high) : *high;
        any = true;
    }
    if (!any) return;
    // What a raster of cells makes of a limit that is met exactly is chance.
    constexpr double kMargin_deg = 0.3;
    wanted.low_deg += kMargin_deg;
    wanted.high_deg -= kMargin_deg;
    for (const auto& frame : frames) {
        const double tilt = middleOf(frame)[1];
        if (tilt > kCap_deg && frame.sees({0, 0, 1})) wanted.high_deg = 90;
        if (tilt < -kCap_deg && frame.sees({0, 0, -1})) wanted.low_deg = -90;
    }
}

}  // namespace

bool WantedCover::wants(double pan_deg, double tilt_deg) const {
    if (tilt_deg < low_deg || tilt_deg > high_deg) return false;
    return all_round ||
           rightTurn_deg(first_pan_deg, pan_deg) <= rightTurn_deg(first_pan_deg, last_pan_deg);
}

std::string WantedCover::inWords() const {
    if (low_deg > high_deg) return "nothing that the plates' rows could tell";
    char text[96];
    if (all_round)
        std::snprintf(text, sizeof text, "all round, tilt %.0f to %.0f", low_deg, high_deg);
    else
        std::snprintf(text, sizeof text, "pan %.0f to %.0f, tilt %.0f to %.0f", first_pan_deg,
                      last_pan_deg, low_deg, high_deg);
    return text;
}

std::vector<PlateRow> plateRows(const std::vector<SphereFrame>& frames) {
    std::vector<int> order(frames.size());
    std::iota(order.begin(), order.end(), 0);
    std::vector<double> tilt(frames.size()), pan(frames.size()), half(frames.size());
    for (size_t i = 0; i < frames.size(); ++i) {
        const auto middle = middleOf(frames[i]);
        pan[i] = middle[0];
        tilt[i] = middle[1];
        half[i] = halfHeight_deg(frames[i]);
    }
    std::sort(order.begin(), order.end(), [&](int a, int b) { return tilt[a] < tilt[b]; });
    // A step in tilt of a quarter of the picture begins another row.
    std::vector<PlateRow> rows;
    for (size_t i = 0; i < order.size(); ++i) {
        const bool new_row =
            i == 0 || tilt[order[i]] - tilt[order[i - 1]] >
                          std::max(3.0, 0.5 * std::min(half[order[i]], half[order[i - 1]]));
        if (new_row) rows.emplace_back();
        rows.back().plates.push_back(order[i]);
    }
    for (auto& row : rows) {
        std::vector<double> tilts;
        for (const int p : row.plates) tilts.push_back(tilt[p]);
        row.tilt_deg = calib::median(tilts);
        std::sort(row.plates.begin(), row.plates.end(),
                  [&](int a, int b) { return pan[a] > pan[b]; });
        const Steps steps = stepsOf(row, frames);
        constexpr double kTwoLeftOut = 3.3;
        row.closed =
            row.plates.size() >= kLeastInRow && steps.largest_deg <= kTwoLeftOut * steps.usual_deg;
    }
    return rows;
}

WantedCover wantedCover(const std::vector<SphereFrame>& frames, const std::vector<PlateRow>& rows,
                        const CoverRequest& request) {
    WantedCover wanted;
    const auto proper = properRows(rows);
    setTilts(proper, frames, wanted);
    setPans(proper, frames, wanted);
    if (request.tilt_deg) std::tie(wanted.low_deg, wanted.high_deg) = *request.tilt_deg;
    if (request.pan_deg) {
        wanted.all_round = request.pan_deg->second - request.pan_deg->first >= 360;
        wanted.first_pan_deg = request.pan_deg->second;
        wanted.last_pan_deg = request.pan_deg->first;
    }
    return wanted;
}

}  // namespace plateloom::stitch
