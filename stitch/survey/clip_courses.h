// What each clip of a take did over time, frame by frame: rings, gains, frames that are not there.
#pragma once

#include "stitch/survey/take_survey.h"

namespace plateloom::stitch {

/// Fills in of `survey.cameras` what changes with time (all but knocks), for the survey's frames,
/// and `survey.cover`. Headers of all frames are read and each is looked at at a glance; a frame
/// that can't be read (any more) is told as damaged.
void addCourses(const Take& take, const TakeSolve& solve, TakeSurvey& survey);

}  // namespace plateloom::stitch
