// Numbers in a sentence: printf's formats into a string, for messages.
#pragma once

#include <cstdio>
#include <string>

namespace plateloom {

/// `format` is a literal; what is longer than 400 letters is cut.
template <class... Values>
[[nodiscard]] std::string said(const char* format, Values... values) {
    char text[400];
    std::snprintf(text, sizeof text, format, values...);
    return text;
}

}  // namespace plateloom
