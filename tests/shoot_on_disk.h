// A small shoot of the demo's invented square on disk, with its truth, for tests that run whole
// jobs.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tests/program.h"
#include "tests/shared_folder.h"
#include "world/recording.h"
#include "world/shoot.h"

namespace plateloom::test {

struct ShootOnDisk {
    world::Shoot shoot;
    std::filesystem::path folder;  ///< plates lie in folder/plates, the track beside it
    [[nodiscard]] std::filesystem::path plates() const { return folder / "plates"; }
    [[nodiscard]] std::filesystem::path track() const { return folder / "lens_track.jsonl"; }
    [[nodiscard]] std::filesystem::path plate(size_t i) const {
        return plates() / shoot.plates.at(i).file;
    }
};

/// A ring of eight plates of 640x360, three tenths overlapping: quick, and enough to tie.
inline world::ShootSettings ringSettings() {
    world::ShootSettings settings;
    settings.rows = world::rowsOfGrid("ring8");
    settings.sky_plate = false;
    settings.width_px = 640;
    settings.height_px = 360;
    settings.focal_mm = 24;
    return settings;
}

inline ShootOnDisk writeShoot(const world::ShootSettings& settings,
                              const std::filesystem::path& folder) {
    const ShootOnDisk out{world::planShoot(settings), folder};
    std::filesystem::create_directories(out.plates());
    const world::Scene scene(settings.scene);
    for (size_t i = 0; i < out.shoot.plates.size(); ++i)
        world::writePlateExr(out.plate(i), world::recordPlate(out.shoot, scene, i),
                             out.shoot.plates[i], settings.rate);
    world::writeLensTrack(out.track(), out.shoot, {});
    return out;
}

/// The ring, rendered once for all test programs; read only.
inline const ShootOnDisk& ring() {
    static const SharedFolder folder("ring of eight",
                                     [](const auto& empty) { writeShoot(ringSettings(), empty); });
    static const ShootOnDisk shoot{world::planShoot(ringSettings()), folder.path()};
    return shoot;
}

}  // namespace plateloom::test
