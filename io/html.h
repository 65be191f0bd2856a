// Text as it stands in an HTML page.
#pragma once

#include <string>

namespace plateloom::io {

/// With &, <, > and quotes written as entities; bytes that are not UTF-8 become U+FFFD.
[[nodiscard]] std::string htmlText(const std::string& text);

}  // namespace plateloom::io
