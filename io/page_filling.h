// What all pages for people share: a template that the build put together (io/page_template.h) is
// filled in with what one job found, and written as one file.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace plateloom::io {

/// A JPEG as it travels in a page's JSON; null for "".
[[nodiscard]] nlohmann::json embedded(const std::string& jpeg);

/// JSON that can stand inside a script element: nothing in it acts as markup, and text that is not
/// UTF-8 (file names can be anything) is shown with replacement signs.
[[nodiscard]] std::string scriptSafe(const nlohmann::json& value);

/// What there is to read of a survey (its "verdict", "findings") where scripts do not run, a file
/// manager's preview, say. HTML.
[[nodiscard]] std::string plainVerdict(const nlohmann::json& survey);

/// The template with each of its places filled in. `parts` in the order in which the places come.
[[nodiscard]] std::string filledPage(
    std::string_view page_template,
    const std::vector<std::pair<std::string_view, std::string>>& parts);

/// The file that writePage makes in `folder`.
[[nodiscard]] std::filesystem::path reportPagePath(const std::filesystem::path& folder);

/// Makes the folder when it is missing. Throws RoomError.
void writePage(const std::filesystem::path& folder, const std::string& page);

}  // namespace plateloom::io
