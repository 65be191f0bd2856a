// A solve in the words of SOLVE.jsonl and of people: what was placed and how well, what was not and
// why.
#pragma once

#include <string>
#include <vector>

#include "stitch/plates/cameras.h"
#include "stitch/solve/place_plates.h"
#include "stitch/solve/solve.h"
#include "stitch/solve/tie_rounds.h"
#include "stitch/ties/features.h"

namespace plateloom::stitch {

/// Groups of plates that hang together by ties, the largest first; single plates are not groups.
[[nodiscard]] std::vector<std::vector<int>> groupsOfParts(const std::vector<int>& part);

/// Why a plate that is in no part, or in a part that is not the largest, has no place.
[[nodiscard]] std::string whyNotPlaced(int plate, const Cameras& cameras,
                                       const std::vector<PlateFeatures>& features,
                                       const FirstLook& look,
                                       const std::vector<std::vector<int>>& groups);

/// One line a plate. `by_pose` marks plates whose direction against the whole comes from their
/// pose. Reasons are left to the caller.
[[nodiscard]] std::vector<io::SolvedPlate> solvedPlates(const Cameras& cameras,
                                                        const TieRound& round,
                                                        const std::vector<char>& by_pose);

/// What was found of lenses that came without data, a line a lens: `notes`; and of those that the
/// ties hardly tell, `warnings`.
struct FoundLenses {
    std::vector<std::string> notes, warnings;
};
[[nodiscard]] FoundLenses foundLenses(const Cameras& cameras);

}  // namespace plateloom::stitch
