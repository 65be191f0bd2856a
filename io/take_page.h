// The page of a moving panorama: one file that opens without a network, on a tablet as well. The
// take's survey (stitch/report/take_survey.h, as JSON) travels in it whole, so that every figure on
// the page is one of the survey's; a few pictures travel beside it. The previews of all frames do
// not: the page names them where they lie. The page itself is io/take_page/.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "io/page_filling.h"

namespace plateloom::io {

struct TakePictures {
    std::vector<std::string> jpeg;  ///< one a picture of the survey; "" for none
    /// The pattern (####) of the previews beside the panorama's frames, relative to the page; ""
    /// for none.
    std::string preview;
};

/// The page as text. Nothing in the survey can act as markup, and text that is not UTF-8 is shown
/// with replacement signs.
[[nodiscard]] std::string takePage(const nlohmann::json& survey, const TakePictures& pictures);

/// Makes the folder when it is missing. Throws RoomError.
void writeTakePage(const std::filesystem::path& folder, const nlohmann::json& survey,
                   const TakePictures& pictures);

}  // namespace plateloom::io
