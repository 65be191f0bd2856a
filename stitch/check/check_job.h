// The check on location: are all directions covered, do all plates tie, did anything move. Plates
// are read once, made small, and solved with the very stages of `solve`, so that what ties here
// ties there. Nothing that is wrong with one plate ends it: damage is a finding.
//
// A `Check` remembers what it has found out, so that a plate that arrives later costs its own
// reading and matching and no more.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <vector>

#include "io/plate_file.h"
#include "stitch/check/shoot_record.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

struct CheckRequest {
    PlateArguments plates;
    CoverRequest cover;
    std::optional<double> nearest_m;  ///< distance of the nearest thing in the pictures
    int threads = 0;
    /// Plates of several cameras differ in their rings and their entrance pupils: nothing is told
    /// of that.
    bool one_camera = true;
    /// Which frame stands for a movie among the plates; else its first.
    std::map<std::filesystem::path, int> movie_frames;
    /// Describes the plates that could be read, for whoever has laid their papers beside them;
    /// empty: by the papers in `plates`.
    std::function<ShootRecord(const std::vector<io::PlateFile>&)> describe;
};

class Check {
public:
    /// Throws io::InputError when a lens track or the camera report can't be read.
    explicit Check(CheckRequest request);
    ~Check();

    /// Looks at what is there now. Throws io::InputError when there is no plate at all. With
    /// `waits`, a file that is not whole yet is left for later and is no finding.
    [[nodiscard]] Survey look(const Progress& progress, bool waits = false);

    /// Of the last look: files that were not whole.
    [[nodiscard]] const std::vector<std::filesystem::path>& waitingFor() const;

    /// Of the last look: the plates that could be read, in the survey's order, made small; and the
    /// solve, in pixels of the small plates. For pictures.
    struct Small {
        std::vector<int> survey_plate;  ///< index into the survey's plates
        std::vector<Plate> plates;
        Solve solve;
    };
    [[nodiscard]] const Small& small() const;
    [[nodiscard]] PlateStore& store();

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::stitch
