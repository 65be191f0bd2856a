// The report on a take: its survey, and the pictures that go with it on the page.
#pragma once

#include <filesystem>

#include "stitch/survey/take_survey.h"

namespace plateloom::stitch {

/// Composes the survey's pictures small, from the plates of their frames, and writes the page
/// (prepareReport tells beforehand whether it can be). Pictures of one take share an exposure, and
/// are cut to what the cameras see. A frame that can't be read has no picture. The previews that a
/// stitch made beside its frames are named by their way from `folder`, not copied. Throws
/// io::RoomError.
void writeTakeReport(const std::filesystem::path& folder, const Take& take, const TakeSolve& solve,
                     const TakeSurvey& survey);

}  // namespace plateloom::stitch
