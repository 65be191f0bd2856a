// Findings about places: holes, neighbours that share too little, plates that do not tie; and the
// verdict, which is the worst finding in a sentence.
#pragma once

#include <string>
#include <vector>

#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// `survey` holds plates, pairs and holes; findings are added to it, worst first.
void addCoverFindings(const std::vector<PlacedPlate>& placed, const std::vector<PlateRow>& rows,
                      Survey& survey);

/// Grave ones first, then by kind in the order of the trade's worries; stable within a kind.
void sortFindings(std::vector<Finding>& findings);

/// "Not yet: ..." with the worst finding and how many more; or that it holds, and what.
[[nodiscard]] std::string verdictOf(const Survey& survey);

/// "pan 135, tilt 28".
[[nodiscard]] std::string inWords(double pan_deg, double tilt_deg);
/// "plate.1003.exr", "a.exr and b.exr", "a.exr, b.exr and 7 more".
[[nodiscard]] std::string inWords(const std::vector<std::string>& plates);

}  // namespace plateloom::stitch
