// File names can be any bytes; JSON and terminals take UTF-8 text only.
#pragma once

#include <string>
#include <string_view>

namespace plateloom::io {

/// UTF-8 (RFC 3629) stays as it is. A byte that is no part of it becomes a character of the private
/// use area, U+F780 for 0x80 to U+F7FF for 0xFF: two names that differ still differ, so a name in a
/// solve file is found again by comparing what this makes of both.
[[nodiscard]] std::string validUtf8(std::string_view text);

/// One line that a terminal shows as it is: control characters and bytes that are no UTF-8 become
/// \xNN; tabs and line ends stay.
[[nodiscard]] std::string forTerminal(std::string_view text);

}  // namespace plateloom::io
