// The report on a job: its survey, and the pictures that go with it on the page.
//
//     prepareReport("report");            // found out now when it can't be written
//     SmallPlates small(set.plates);
//     PlateStore store(small.reader());   // the job reads its plates through it
//     ...
//     writeReport("report", survey, small, quickPanorama(placed, small));
#pragma once

#include <filesystem>
#include <functional>
#include <memory>

#include "io/picture.h"
#include "stitch/compose/seams.h"
#include "stitch/compose/stitch_job.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/small_plates.h"
#include "stitch/resample/panorama_grid.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// Throws io::RoomError when the page can't be written to this folder; makes it when missing.
void prepareReport(const std::filesystem::path& folder);

/// A small panorama of these plates, linear RGBA, latlong; empty without any. `placed[i].plate` is
/// the plate's index in `small`. Seams and bands are those of a composed panorama.
[[nodiscard]] io::Picture quickPanorama(const std::vector<PlacedPlate>& placed, SmallPlates& small,
                                        int width = 2048);

/// The same on a grid that is given, with seams that are (see ComposeSettings).
[[nodiscard]] io::Picture quickPanorama(const std::vector<PlacedPlate>& placed, SmallPlates& small,
                                        const PanoramaGrid& grid,
                                        std::function<LabelBlend(const Overview&)> seams);

/// Writes the page. `survey.plates[i]` is plate i of `small`; a plate that can't be read has no
/// thumbnail. `panorama` is linear RGBA, latlong, or empty. Thumbnails share its exposure, without
/// gains, so that a plate that was exposed otherwise looks so. Throws io::RoomError.
void writeReport(const std::filesystem::path& folder, Survey survey, SmallPlates& small,
                 const io::Picture& panorama);

/// A report on solveJob or stitchJob, which fill its record.
struct JobReport {
    JobRecord record;
    Survey survey;
};

/// Makes the survey and, where the job composed none, a small panorama. The time that this takes is
/// one more stage of the solve. `survey.command`, `status` and `peak_memory_bytes` are left to the
/// caller.
void surveyJob(JobReport& report, Solve& solve, const Progress& progress);

}  // namespace plateloom::stitch
