// The page of a measured lens: one file that opens without a network. What was measured
// (stitch/calibrate/chart_page.h, shading_page.h) travels in it as JSON, so that every figure on
// the page is one of the measurement's. The page itself is io/lens_page/.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "io/page_filling.h"

namespace plateloom::io {

/// One picture of a setting before and after: JPEG, the same frame; "" for none.
struct BeforeAndAfter {
    std::string recorded, flat;
};

/// `lens`: "kind" is "chart" or "shading", "verdict" a sentence, "settings" one object each with
/// its own "name" and "verdict", a list of sentences. `pictures`: one a setting, or none at all.
/// The page as text; nothing in `lens` can act as markup.
[[nodiscard]] std::string lensPage(const nlohmann::json& lens,
                                   const std::vector<BeforeAndAfter>& pictures);

/// Makes the folder when it is missing. Throws RoomError.
void writeLensPage(const std::filesystem::path& folder, const nlohmann::json& lens,
                   const std::vector<BeforeAndAfter>& pictures);

}  // namespace plateloom::io
