// The report's page before it is filled in: io/page/, put together and embedded by the build
// (io/page/assemble.cmake).
#pragma once

#include <string_view>

namespace plateloom::io {

/// Holds <!--{survey}-->, <!--{pictures}--> and <!--{plain}--> where those belong.
extern const std::string_view kPageTemplate;

}  // namespace plateloom::io
