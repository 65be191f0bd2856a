// What `--lens` names: lens tracks (a sample a plate or a frame) and a lens table (a lens measured
// over its rings, for plates whose rings are known). Both may be given: then the track says where
// the rings stood and, for whatever it leaves out of the lens, the table has it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens_table.h"
#include "io/lens_track.h"

namespace plateloom::stitch {

struct TableInUse {
    std::filesystem::path path;
    calib::LensTable table;
    calib::LensLookup lookup;

    /// Whether its irises are T-stops; else they are f-numbers, or not known.
    [[nodiscard]] bool inTStops() const;
};

struct LensData {
    std::vector<io::LensTrack> tracks;
    std::optional<TableInUse> table;

    [[nodiscard]] const TableInUse* tableOrNull() const { return table ? &*table : nullptr; }
};

/// Throws io::InputError for what can't be read and for a second table.
[[nodiscard]] LensData readLensData(const std::vector<std::filesystem::path>& paths);

/// "lens from LENS.json, measured at 30 settings: geometry to 18.2 of 20.7 mm from the centre".
[[nodiscard]] std::string saidOf(const TableInUse& table);

}  // namespace plateloom::stitch
