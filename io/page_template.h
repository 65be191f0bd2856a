// The pages before they are filled in, put together and embedded by the build
// (io/page/assemble.cmake): io/page/ is a job's report, io/take_page/ a take's,
// io/lens_page/ that on a measured lens.
#pragma once

#include <string_view>

namespace plateloom::io {

/// Holds <!--{survey}-->, <!--{pictures}--> and <!--{plain}--> where those belong.
extern const std::string_view kPageTemplate;

/// The same of a take.
extern const std::string_view kTakePageTemplate;

/// Holds <!--{plain}-->, <!--{lens}--> and <!--{pictures}-->.
extern const std::string_view kLensPageTemplate;

}  // namespace plateloom::io
