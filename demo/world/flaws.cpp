#include "world/flaws.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <nlohmann/json.hpp>

#include "calib/angle.h"
#include "io/input_error.h"
#include "world/noise.h"

namespace plateloom::world {

namespace {

using Kind = Flaw::Kind;
constexpr double kSkyPlate_deg = 55;  // plates above this have little to hold on to

bool sees(const Shoot& shoot, const calib::LensMap& lens, size_t plate, const Vector3d& world) {
    const Vector3d ray = calib::worldFromCamera(shoot.plates[plate].pose).transpose() * world;
    const auto px = lens.recordedFromRay(ray);
    return px && lens.inPicture(*px);
}

// Which plates see each direction of a grid over the sphere, a step of two degrees.
class Cover {
public:
    static constexpr int kColumns = 180, kRows = 90;

    explicit Cover(const Shoot& shoot) : seen_(kColumns * kRows) {
        for (size_t i = 0; i < shoot.plates.size(); ++i) {
            const calib::LensMap lens(shoot.plates[i].lens, shoot.sensor);
            for (int row = 0; row < kRows; ++row)
                for (int column = 0; column < kColumns; ++column)
                    if (sees(shoot, lens, i, direction(column, row)))
                        seen_[size_t(row * kColumns + column)].push_back(i);
        }
    }

    /// Share of the sphere that `plate` alone sees; `between`: only where others see something
    /// above and below it at the same pan.
    [[nodiscard]] double aloneShare(size_t plate, bool between) const {
        double share = 0;
        for (int row = 0; row < kRows; ++row)
            for (int column = 0; column < kColumns; ++column)
                if (alone(column, row, plate) && (!between || enclosed(column, row, plate)))
                    share += std::cos(tilt_deg(row) * calib::kRadPerDeg) * calib::kRadPerDeg *
                             calib::kRadPerDeg * 4 / (4 * calib::kPi);
        return share;
    }

private:
    static double tilt_deg(int row) { return 89.0 - 2 * row; }
    static Vector3d direction(int column, int row) {
        return calib::worldFromCamera({179.0 - 2 * column, tilt_deg(row), 0}) * Vector3d(0, 1, 0);
    }
    [[nodiscard]] const std::vector<size_t>& at(int column, int row) const {
        return seen_[size_t(row * kColumns + column)];
    }
    [[nodiscard]] bool alone(int column, int row, size_t plate) const {
        return at(column, row).size() == 1 && at(column, row)[0] == plate;
    }
    [[nodiscard]] bool others(int column, int row, size_t plate) const {
        return !at(column, row).empty() && !alone(column, row, plate);
    }
    [[nodiscard]] bool enclosed(int column, int row, size_t plate) const {
        bool above = false, below = false;
        for (int r = 0; r < row; ++r) above = above || others(column, r, plate);
        for (int r = row + 1; r < kRows; ++r) below = below || others(column, r, plate);
        return above && below;
    }

    std::vector<std::vector<size_t>> seen_;
};

struct Hole {
    size_t plate = 0;
    double share = 0;
};

Hole chooseHole(const Shoot& shoot, Dice& dice) {
    const Cover cover(shoot);
    for (const bool between : {true, false}) {
        std::vector<Hole> holes;
        double most = 0;
        for (size_t i = 0; i < shoot.plates.size(); ++i) {
            if (shoot.plates[i].pose.tilt_deg > kSkyPlate_deg) continue;
            holes.push_back({i, cover.aloneShare(i, between)});
            most = std::max(most, holes.back().share);
        }
        if (most < 1e-3) continue;
        std::erase_if(holes, [&](const Hole& hole) { return hole.share < 0.75 * most; });
        return holes[size_t(dice.below(int(holes.size())))];
    }
    throw io::InputError("the shoot", "has no plate whose absence would leave a hole");
}

double apart_deg(const calib::PanTiltRoll& a, const calib::PanTiltRoll& b) {
    return calib::angleBetween_deg(calib::worldFromCamera(a), calib::worldFromCamera(b));
}

// Of many draws the one whose plates stand furthest from each other and from the hole.
std::vector<size_t> choosePlates(const Shoot& shoot, size_t count,
                                 const std::vector<calib::PanTiltRoll>& hole, Dice& dice) {
    std::vector<size_t> fit;
    for (size_t i = 0; i < shoot.plates.size(); ++i)
        if (shoot.plates[i].pose.tilt_deg <= kSkyPlate_deg) fit.push_back(i);
    if (fit.size() < count) throw io::InputError("the shoot", "has too few plates for the flaws");
    std::vector<size_t> best;
    double furthest = -1;
    for (int draw = 0; draw < 40; ++draw) {
        for (size_t i = 0; i < count; ++i)
            std::swap(fit[i], fit[i + size_t(dice.below(int(fit.size() - i)))]);
        double nearest = 1000;
        for (size_t i = 0; i < count; ++i) {
            const auto& pose = shoot.plates[fit[i]].pose;
            for (const auto& other : hole) nearest = std::min(nearest, apart_deg(pose, other));
            for (size_t j = 0; j < i; ++j)
                nearest = std::min(nearest, apart_deg(pose, shoot.plates[fit[j]].pose));
        }
        if (nearest <= furthest) continue;
        furthest = nearest;
        best.assign(fit.begin(), fit.begin() + std::ptrdiff_t(count));
    }
    return best;
}

void removePlate(Shoot& shoot, size_t plate) {
    for (size_t i = shoot.plates.size() - 1; i > plate; --i)
        shoot.plates[i].file = shoot.plates[i - 1].file;
    shoot.plates.erase(shoot.plates.begin() + std::ptrdiff_t(plate));
}

void moveIris(const Shoot& shoot, PlannedPlate& plate, double stops, bool said) {
    const calib::Lens before = plate.lens;
    const double t_stop = *before.t_stop * std::exp2(-0.5 * stops);
    plate.lens = inventedLens(shoot.settings.look, shoot.settings.direction,
                              shoot.settings.focal_mm, *before.focus_m, t_stop);
    plate.exposure *= std::exp2(stops);
    if (!said) plate.said = before;
}

// Does it to the plate; returns how much of it.
double spoil(Shoot& shoot, PlannedPlate& plate, Kind kind, Dice& dice) {
    switch (kind) {
        case Kind::soft:
            return plate.soft_px = dice.between(2.0f, 3.5f);
        case Kind::iris_said:
        case Kind::iris_unsaid: {
            // Half a stop to one and a bit. Opened further, this lens would darken its corners
            // beyond what a matcher should have to bear.
            const double stops =
                dice.below(2) ? dice.between(0.5f, 0.9f) : -dice.between(0.5f, 1.2f);
            moveIris(shoot, plate, stops, kind == Kind::iris_said);
            return stops;
        }
        case Kind::lost_sample:
            plate.sample_lost = true;
            return 1;
        case Kind::hole:
        case Kind::off_pupil:
            break;
    }
    return 0;
}

}  // namespace

const char* nameOf(Kind kind) {
    switch (kind) {
        case Kind::hole:
            return "hole";
        case Kind::soft:
            return "soft";
        case Kind::iris_said:
            return "iris_said";
        case Kind::iris_unsaid:
            return "iris_unsaid";
        case Kind::off_pupil:
            return "off_pupil";
        case Kind::lost_sample:
            break;
    }
    return "lost_sample";
}

ShootSettings steadySettings(uint32_t seed) {
    ShootSettings settings;
    settings.scene.seed = seed;
    settings.seed = seed;
    settings.rows = rowsOfGrid("three-rows");
    settings.focus_moves = settings.iris_moves = false;
    return settings;
}

std::vector<Kind> allFlaws() {
    return {Kind::hole, Kind::soft, Kind::iris_unsaid, Kind::off_pupil, Kind::lost_sample};
}

std::vector<Kind> drawFlaws(uint32_t seed) {
    Dice dice(seed * 97u + 3u);
    std::vector<Kind> kinds = {Kind::hole,        Kind::soft,      Kind::iris_said,
                               Kind::iris_unsaid, Kind::off_pupil, Kind::lost_sample};
    const int count = 1 + dice.below(4);
    for (int i = 0; i < count; ++i)
        std::swap(kinds[size_t(i)], kinds[size_t(i + dice.below(int(kinds.size()) - i))]);
    kinds.resize(size_t(count));
    return kinds;
}

FlawedShoot flawedShoot(const ShootSettings& settings, const std::vector<Kind>& kinds,
                        uint32_t seed) {
    Dice dice(seed * 61u + 11u);
    const auto has = [&](Kind kind) {
        return std::find(kinds.begin(), kinds.end(), kind) != kinds.end();
    };
    ShootSettings moved = settings;
    FlawedShoot out;
    if (has(Kind::off_pupil)) {
        moved.parallax_m = dice.between(0.03f, 0.06f);
        out.flaws.push_back({Kind::off_pupil, "", {}, moved.parallax_m});
    }
    out.shoot = planShoot(moved);
    std::vector<calib::PanTiltRoll> hole;
    if (has(Kind::hole)) {
        const Hole chosen = chooseHole(out.shoot, dice);
        hole.push_back(out.shoot.plates[chosen.plate].pose);
        out.flaws.push_back({Kind::hole, "", hole.back(), chosen.share});
        removePlate(out.shoot, chosen.plate);
    }
    std::vector<Kind> of_plates;
    for (const Kind kind : kinds)
        if (kind != Kind::hole && kind != Kind::off_pupil) of_plates.push_back(kind);
    const auto chosen = choosePlates(out.shoot, of_plates.size(), hole, dice);
    for (size_t i = 0; i < of_plates.size(); ++i) {
        PlannedPlate& plate = out.shoot.plates[chosen[i]];
        const double amount = spoil(out.shoot, plate, of_plates[i], dice);
        out.flaws.push_back({of_plates[i], plate.file, plate.pose, amount});
    }
    return out;
}

void writeFlaws(const std::filesystem::path& path, const std::vector<Flaw>& flaws) {
    nlohmann::ordered_json list = nlohmann::ordered_json::array();
    for (const Flaw& flaw : flaws)
        list.push_back({{"flaw", nameOf(flaw.kind)},
                        {"file", flaw.file},
                        {"pan_deg", flaw.pose.pan_deg},
                        {"tilt_deg", flaw.pose.tilt_deg},
                        {"amount", flaw.amount}});
    std::ofstream out(path);
    out << list.dump(1) << '\n';
    if (!out) throw io::RoomError(path.string(), "can't be written");
}

}  // namespace plateloom::world
