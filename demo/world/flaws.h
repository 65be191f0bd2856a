// A shoot in which things went wrong, as they do: what a check on location has to find. The truth
// says what was done to which plate.
//
//     const FlawedShoot shoot = flawedShoot(steadySettings(3), allFlaws(), 3);
//     writeShoot(folder, shoot.shoot, {}, true);
//     writeFlaws(folder / "truth" / "flaws.json", shoot.flaws);
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "world/shoot.h"

namespace plateloom::world {

struct Flaw {
    enum class Kind {
        hole,         ///< a plate was never shot; the numbers of those after it close up
        soft,         ///< a plate is out of focus; the lens track does not know
        iris_said,    ///< the iris moved for one plate, and the lens track says so
        iris_unsaid,  ///< the iris moved for one plate, and the lens track does not say so
        off_pupil,    ///< the head turns beside the entrance pupil, in all plates
        lost_sample,  ///< the lens track has no samples for one plate
    };
    Kind kind = Kind::hole;
    std::string file;         ///< the plate; empty for a hole and for the head
    calib::PanTiltRoll pose;  ///< where that plate looked, or should have
    /// soft: sigma in pixels; iris: stops, positive is brighter; off_pupil: metres; hole: share of
    /// the sphere that nothing covers now, though the whole shoot did.
    double amount = 0;
};
[[nodiscard]] const char* nameOf(Flaw::Kind kind);

struct FlawedShoot {
    Shoot shoot;
    std::vector<Flaw> flaws;
};

/// A shoot by the book: three rows and a sky plate, focus and iris locked.
[[nodiscard]] ShootSettings steadySettings(uint32_t seed);

/// One of each kind; the iris unsaid.
[[nodiscard]] std::vector<Flaw::Kind> allFlaws();
/// One to four kinds, drawn from a seed.
[[nodiscard]] std::vector<Flaw::Kind> drawFlaws(uint32_t seed);

/// Plates that bear flaws stand apart from each other and from the hole as far as there is room.
/// The hole is where its plate's absence uncovers the most of what lies between other plates.
[[nodiscard]] FlawedShoot flawedShoot(const ShootSettings& settings,
                                      const std::vector<Flaw::Kind>& kinds, uint32_t seed);

/// [{"flaw", "file", "pan_deg", "tilt_deg", "amount"}, ...]
void writeFlaws(const std::filesystem::path& path, const std::vector<Flaw>& flaws);

}  // namespace plateloom::world
