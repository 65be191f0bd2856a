// Findings that the pictures themselves give: soft, clipped or black plates, exposure that the
// papers do not explain, a leaning head, and why a plate did not tie.
#pragma once

#include <vector>

#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// What a look at the pixels adds to what the survey knows of a plate.
struct PictureFacts {
    int features = 0;
    double fineness = 0;  ///< see PlateStudy; 0: nothing textured
    double textured = 0;  ///< share of the picture that shows more than noise
    bool has_own_lens = true;
};

/// `survey.plates` hold gain, exposure, sharpness and shares; `facts` is one a plate. Findings are
/// added; those of plates that did not tie are told apart by their reason. The caller sorts.
void addPictureFindings(const std::vector<PictureFacts>& facts, Survey& survey);

/// `offset_by_distance`: of the head from the entrance pupil, over the distance of the nearest
/// things; positive: the pupil stands before the axis.
void addParallaxFinding(double parallax_px, double offset_by_distance,
                        std::optional<double> nearest_m, Survey& survey);

}  // namespace plateloom::stitch
