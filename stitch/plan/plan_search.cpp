#include "stitch/plan/plan_search.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "calib/angle.h"

namespace plateloom::stitch {

namespace {

constexpr double kPole_deg = 90, kAtPole_deg = 90 - 1e-6;

// Plates of a row by their pans, relative to the middle of the wanted pans.
struct Pans {
    int count = 1;
    double step_deg = 360;
    double half_deg = 180;  // how far to the side a plate has to cover alone
};

struct Node {
    double tilt_deg = 0;
    Pans pans;
    RowShapes::Band band;
};

struct Meeting {
    double shift_deg = 0;  // of the upper row's pans
    double worst_deg = 0;  // furthest that a plate is from its nearest in the other row
};

double wrapped(double deg) {
    return deg - 360 * std::floor(deg / 360 + 0.5);
}

class Search {
public:
    Search(const PlanWish& wish, const PlanGuard& guard)
        : wish_(wish),
          guard_(guard),
          shapes_(wish.lens, wish.overlap + guard.overlap),
          span_deg_(wish.pan_to_deg - wish.pan_from_deg),
          closed_(span_deg_ > 360 - 1e-9) {
        bottom_deg_ = wish.nadir ? -kPole_deg : wish.tilt_from_deg - guard.cover_deg;
        top_deg_ = wish.zenith ? kPole_deg : wish.tilt_to_deg + guard.cover_deg;
        bottom_deg_ = std::max(bottom_deg_, -kAtPole_deg);
        top_deg_ = std::min(top_deg_, kAtPole_deg);
    }

    std::optional<std::vector<ShotRow>> run() {
        makeNodes();
        const auto fewest = shortestPath();
        if (!fewest) return std::nullopt;
        return rowsOf(roomiest(*fewest));
    }

private:
    using Path = std::vector<size_t>;

    void makeNodes();
    void addNode(double tilt_deg, const Pans& pans);
    [[nodiscard]] std::vector<Pans> pansAt(double tilt_deg) const;
    [[nodiscard]] std::optional<Path> shortestPath();
    [[nodiscard]] Path roomiest(const Path& fewest);
    [[nodiscard]] std::vector<ShotRow> rowsOf(const Path& path);

    [[nodiscard]] bool starts(const Node& node) const { return node.band.low_deg <= bottom_deg_; }
    [[nodiscard]] bool ends(const Node& node) const { return node.band.high_deg >= top_deg_; }
    [[nodiscard]] bool joins(const Node& below, const Node& above);
    [[nodiscard]] double room_deg(const Node& below, const Node& above);
    [[nodiscard]] const Meeting& meeting(const Pans& below, const Pans& above);
    [[nodiscard]] double widestOffset_deg(double below_deg, double above_deg);
    [[nodiscard]] double leastOverlap(const Node& below, const Node& above);

    const PlanWish& wish_;
    PlanGuard guard_;
    RowShapes shapes_;
    double span_deg_;
    bool closed_;
    double bottom_deg_ = 0, top_deg_ = 0;
    std::vector<Node> nodes_;  // by rising tilt
    std::map<std::pair<int, int>, double> offsets_;
    std::map<std::tuple<int, int, int, int>, Meeting> meetings_;
};

std::vector<double> pansOf(const Pans& pans) {
    std::vector<double> out;
    for (int i = 0; i < pans.count; ++i)
        out.push_back((0.5 * (pans.count - 1) - i) * pans.step_deg);
    return out;
}

// Turns all rows together, so that a plate of the row nearest the horizon looks that way.
void lookAt(double pan_deg, std::vector<ShotRow>& rows) {
    const auto level = std::min_element(rows.begin(), rows.end(), [](const auto& a, const auto& b) {
        return std::abs(a.tilt_deg) < std::abs(b.tilt_deg);
    });
    const double turn = pan_deg - level->pans_deg[level->pans_deg.size() / 2];
    for (ShotRow& row : rows)
        for (double& pan : row.pans_deg) pan += turn;
}

// Counts worth trying: from what the overlap asks for upward. More pans than that let a row reach
// higher between its plates, or stand in line with its neighbours.
constexpr int kMorePans = 4;

std::vector<Pans> Search::pansAt(double tilt_deg) const {
    const double widest_deg = shapes_.widestStep_deg(tilt_deg);
    std::vector<Pans> out;
    if (closed_) {
        const int least = std::max(2, int(std::ceil(360 / widest_deg - 1e-9)));
        for (int n = least; n <= least + kMorePans; ++n) out.push_back({n, 360.0 / n, 180.0 / n});
        return out;
    }
    const int least =
        std::max(1, int(std::floor(span_deg_ / (shapes_.outline().across_deg() * 3))));
    for (int n = least, found = 0; found <= kMorePans && n < 2000; ++n) {
        if (n == 1) {
            out.push_back({1, 0, 0.5 * span_deg_});
        } else {
            const double step = std::min(widest_deg, span_deg_ / n);
            const double edge = 0.5 * (span_deg_ - (n - 1) * step);
            out.push_back({n, step, std::max(edge, 0.5 * step)});
        }
        if (found > 0 || shapes_.band(tilt_deg, out.back().half_deg)) ++found;
    }
    return out;
}

void Search::addNode(double tilt_deg, const Pans& pans) {
    const auto band = shapes_.band(tilt_deg, pans.half_deg);
    if (band) nodes_.push_back({tilt_deg, pans, *band});
}

void Search::makeNodes() {
    const double step = tiltStep_deg(shapes_.outline());
    const int from = int(std::floor(std::max(-90.0, bottom_deg_) / step));
    const int to = int(std::ceil(std::min(90.0, top_deg_) / step));
    for (int i = from; i <= to; ++i) {
        const double tilt = std::clamp(i * step, -90.0, 90.0);
        // Seen from a pole every pan is the same: one plate, or a roll that nobody asked for.
        if (std::abs(tilt) == 90)
            addNode(tilt, closed_ ? Pans{1, 360, 180} : Pans{1, 0, 180});
        else
            for (const Pans& pans : pansAt(tilt)) addNode(tilt, pans);
    }
}

// Between two rows the shift of pans at which the plate that is worst off is nearest to another.
const Meeting& Search::meeting(const Pans& below, const Pans& above) {
    const auto thousandths = [](double deg) { return int(std::lround(deg * 1000)); };
    const std::tuple key(below.count, thousandths(below.step_deg), above.count,
                         thousandths(above.step_deg));
    const auto [place, fresh] = meetings_.try_emplace(key);
    if (!fresh) return place->second;
    const auto a = pansOf(below), b = pansOf(above);
    const auto worstAt = [&](double shift) {
        const auto furthest = [](const std::vector<double>& of, const std::vector<double>& from,
                                 double off) {
            double most = 0;
            for (const double pan : of) {
                double nearest = 360;
                for (const double other : from)
                    nearest = std::min(nearest, std::abs(wrapped(pan - other - off)));
                most = std::max(most, nearest);
            }
            return most;
        };
        return std::max(furthest(a, b, shift), furthest(b, a, -shift));
    };
    place->second = {0, worstAt(0)};
    constexpr int kShifts = 12;
    for (int i = 1; closed_ && i < kShifts; ++i) {
        const double shift = above.step_deg * i / kShifts;
        const double worst = worstAt(shift);
        if (worst < place->second.worst_deg - 1e-9) place->second = {shift, worst};
    }
    return place->second;
}

double Search::widestOffset_deg(double below_deg, double above_deg) {
    const auto thousandths = [](double deg) { return int(std::lround(deg * 1000)); };
    const auto [place, fresh] =
        offsets_.try_emplace({thousandths(below_deg), thousandths(above_deg)}, 0);
    if (fresh) place->second = shapes_.widestOffset_deg(below_deg, above_deg);
    return place->second;
}

// Of each plate with the nearest one of the other row. A cap sees its ring from every side, so its
// pairs are looked at one by one.
double Search::leastOverlap(const Node& below, const Node& above) {
    if (below.pans.count > 1 && above.pans.count > 1)
        return shapes_.overlap(below.tilt_deg, above.tilt_deg,
                               meeting(below.pans, above.pans).worst_deg);
    double least = 1;
    for (const double a : pansOf(below.pans))
        for (const double b : pansOf(above.pans))
            least = std::min(least, shapes_.overlap(below.tilt_deg, above.tilt_deg, a - b));
    return least;
}

bool Search::joins(const Node& below, const Node& above) {
    if (above.band.low_deg > below.band.high_deg - guard_.cover_deg) return false;
    if (below.pans.count > 1 && above.pans.count > 1)
        return widestOffset_deg(below.tilt_deg, above.tilt_deg) >=
               meeting(below.pans, above.pans).worst_deg;
    return leastOverlap(below, above) >= wish_.overlap + guard_.overlap;
}

std::optional<Search::Path> Search::shortestPath() {
    struct Best {
        int plates = std::numeric_limits<int>::max(), rows = 0;
        size_t before = 0;
        [[nodiscard]] bool reached() const { return plates < std::numeric_limits<int>::max(); }
    };
    std::vector<Best> best(nodes_.size());
    const auto shorter = [](const Best& a, const Best& b) {
        return std::pair(a.plates, a.rows) < std::pair(b.plates, b.rows);
    };
    size_t last = nodes_.size();
    for (size_t b = 0; b < nodes_.size(); ++b) {
        const Node& above = nodes_[b];
        if (starts(above)) best[b] = {above.pans.count, 1, b};
        // From the furthest row below: its path is the shortest so far, and rules most others out.
        for (size_t a = 0; a < b; ++a) {
            const Node& below = nodes_[a];
            if (below.tilt_deg >= above.tilt_deg) break;
            if (!best[a].reached() ||
                above.tilt_deg - below.tilt_deg > 2 * shapes_.outline().reach_deg())
                continue;
            const Best through{best[a].plates + above.pans.count, best[a].rows + 1, a};
            if (shorter(through, best[b]) && joins(below, above)) best[b] = through;
        }
        if (best[b].reached() && ends(above) &&
            (last == nodes_.size() || shorter(best[b], best[last])))
            last = b;
    }
    if (last == nodes_.size()) return std::nullopt;
    Path path{last};
    while (best[path.back()].before != path.back()) path.push_back(best[path.back()].before);
    std::reverse(path.begin(), path.end());
    return path;
}

// Room of an edge in degrees of tilt: of cover, and of overlap as a share of the frame's height.
double Search::room_deg(const Node& below, const Node& above) {
    const double cover = below.band.high_deg - above.band.low_deg;
    const double spare = leastOverlap(below, above) - wish_.overlap;
    return std::min(cover, spare * shapes_.outline().upright_deg());
}

// The same counts of pans, with the tilts at which the tightest place is widest.
Search::Path Search::roomiest(const Path& fewest) {
    std::vector<std::vector<size_t>> layers;
    double work = 0;
    for (const size_t chosen : fewest) {
        std::vector<size_t> layer;
        for (size_t i = 0; i < nodes_.size(); ++i)
            if (nodes_[i].pans.count == nodes_[chosen].pans.count) layer.push_back(i);
        work += double(layer.size()) * double(layer.size());
        layers.push_back(std::move(layer));
    }
    constexpr double kTooMuch = 4e5;  // edges; a few seconds
    if (work > kTooMuch) return fewest;

    constexpr double kNone = -1e9;
    std::vector<std::vector<double>> room(layers.size());
    std::vector<std::vector<size_t>> before(layers.size());
    for (size_t l = 0; l < layers.size(); ++l) {
        room[l].assign(layers[l].size(), kNone);
        before[l].assign(layers[l].size(), 0);
        for (size_t i = 0; i < layers[l].size(); ++i) {
            const Node& node = nodes_[layers[l][i]];
            if (l == 0 && starts(node))
                room[l][i] = wish_.nadir ? 1e9 : bottom_deg_ - node.band.low_deg;
            for (size_t j = 0; l > 0 && j < layers[l - 1].size(); ++j) {
                const Node& below = nodes_[layers[l - 1][j]];
                if (room[l - 1][j] <= room[l][i] || below.tilt_deg >= node.tilt_deg ||
                    !joins(below, node))
                    continue;
                const double here = std::min(room[l - 1][j], room_deg(below, node));
                if (here > room[l][i]) room[l][i] = here, before[l][i] = j;
            }
        }
    }
    double most = kNone;
    size_t at = 0;
    for (size_t i = 0; i < layers.back().size(); ++i) {
        const Node& node = nodes_[layers.back()[i]];
        if (room.back()[i] == kNone || !ends(node)) continue;
        const double top = wish_.zenith ? 1e9 : node.band.high_deg - top_deg_;
        if (std::min(top, room.back()[i]) > most) most = std::min(top, room.back()[i]), at = i;
    }
    if (most == kNone) return fewest;
    Path path;
    for (size_t l = layers.size(); l-- > 0; at = before[l][at]) path.push_back(layers[l][at]);
    std::reverse(path.begin(), path.end());
    return path;
}

std::vector<ShotRow> Search::rowsOf(const Path& path) {
    std::vector<ShotRow> rows;
    const double middle = 0.5 * (wish_.pan_from_deg + wish_.pan_to_deg);
    double shift = 0;
    for (size_t i = 0; i < path.size(); ++i) {
        const Node& node = nodes_[path[i]];
        if (i > 0) shift += meeting(nodes_[path[i - 1]].pans, node.pans).shift_deg;
        ShotRow row{node.tilt_deg, pansOf(node.pans)};
        for (double& pan : row.pans_deg) pan += middle + shift;
        rows.push_back(std::move(row));
    }
    if (closed_) lookAt(middle, rows);
    return rows;
}

}  // namespace

double tiltStep_deg(const calib::FrameOutline& outline) {
    if (outline.upright_deg() >= 16) return 0.5;
    return outline.upright_deg() >= 6 ? 0.2 : 0.1;
}

std::optional<std::vector<ShotRow>> searchRows(const PlanWish& wish, const PlanGuard& guard) {
    return Search(wish, guard).run();
}

}  // namespace plateloom::stitch
