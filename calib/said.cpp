#include "calib/said.h"

#include <cstdarg>
#include <cstdio>

namespace plateloom {

std::string said(const char* format, ...) {
    std::va_list values, again;
    va_start(values, format);
    va_copy(again, values);
    const int length = std::vsnprintf(nullptr, 0, format, values);
    va_end(values);
    std::string text(size_t(length > 0 ? length : 0), '\0');
    std::vsnprintf(text.data(), text.size() + 1, format, again);
    va_end(again);
    return text;
}

}  // namespace plateloom
