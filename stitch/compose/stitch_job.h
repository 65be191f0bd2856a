// The job: plates in, a solve and a panorama out.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include "io/output_guard.h"
#include "stitch/compose/compose.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/small_plates.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

/// What a report shows of a job (stitch/report/report.h), kept as the job reads its plates.
struct JobRecord {
    std::vector<Plate> plates;
    std::unique_ptr<SmallPlates> small;
    io::Picture panorama;  ///< linear RGBA, latlong, small; empty where none was composed
};

struct SolveRequest {
    PlateArguments plates;
    SolveSettings settings;
    std::string north;  ///< file name or stem of the plate that looks to pan 0; "" for none
    /// With what the job does not know itself: the report's page, and for solveJob the solve file.
    io::OutputGuard outputs{};
};

/// Solves and balances exposure. Throws io::OutputRefused, io::InputError (also for a `north` that
/// is not among the plates). Fills `record` when it is given.
[[nodiscard]] Solve solveJob(const SolveRequest& request, const Progress& progress,
                             JobRecord* record = nullptr);

struct StitchRequest {
    SolveRequest solve;
    std::filesystem::path output;
    std::optional<std::filesystem::path> solve_file;  ///< read when it exists, else written
    std::optional<std::filesystem::path> preview;     ///< PNG
    Projection projection = Projection::equirectangular;
    int width = 0;                              ///< 0: the plates' own peak resolution
    std::optional<double> top_deg, bottom_deg;  ///< cylindrical only; else the plates' own reach
    bool half = true;
    int tile = 1024;
    int threads = 0;
};

struct StitchResult {
    Solve solve;
    PanoramaGrid grid;
    double covered_share = 0;
    bool solve_was_read = false;
};

/// Throws io::OutputRefused, io::InputError, io::RoomError. Without a single placed plate nothing
/// is written and InputError says why. Fills `record` when it is given.
[[nodiscard]] StitchResult stitchJob(const StitchRequest& request, const Progress& progress,
                                     JobRecord* record = nullptr);

/// The solved plates of a file laid over this job's plates, by file name: what is not in the file
/// is left out, with a warning.
[[nodiscard]] Solve adoptSolve(const PlateSet& set, const std::vector<io::SolvedPlate>& solved);

/// The panorama for these plates: size and, for a cylinder, the band of tilts. Throws
/// io::InputError for a band that a cylinder can't show (beyond 80 degrees) or an absurd size.
[[nodiscard]] PanoramaGrid panoramaGrid(const std::vector<PlacedPlate>& plates,
                                        const StitchRequest& request);

}  // namespace plateloom::stitch
