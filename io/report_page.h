// The report as a page for people: one file that opens without a network, on a tablet as well. The
// survey (stitch/survey/survey.h, as JSON) travels in it whole, so that every figure on the page is
// one of the survey's; the pictures travel beside it. The page itself is io/page/.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "io/page_filling.h"

namespace plateloom::io {

struct ReportPictures {
    std::vector<std::string> thumbnails;  ///< JPEG, one a plate in the survey's order; "" for none
    std::string quick_panorama;           ///< JPEG, latlong; "" for none
};

/// The page as text. Nothing in the survey can act as markup, and text that is not UTF-8 (file
/// names can be anything) is shown with replacement signs.
[[nodiscard]] std::string reportPage(const nlohmann::json& survey, const ReportPictures& pictures);

/// Makes the folder when it is missing. Throws RoomError.
void writeReportPage(const std::filesystem::path& folder, const nlohmann::json& survey,
                     const ReportPictures& pictures);

}  // namespace plateloom::io
