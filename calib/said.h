// Numbers in a sentence: printf's formats into a string, for messages. The compiler checks the
// format against the values, as it does printf's.
#pragma once

#include <string>

namespace plateloom {

/// `format` is a literal. A std::string goes in as its c_str().
[[nodiscard, gnu::format(printf, 1, 2)]] std::string said(const char* format, ...);

}  // namespace plateloom
