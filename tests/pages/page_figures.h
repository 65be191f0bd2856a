// The figures that stand on a page against the JSON that travels in it.
#pragma once

#include <algorithm>
#include <cmath>

#include "tests/pages/chromium.h"

namespace plateloom::test {

/// "−0.37" as the page writes it: the minus is U+2212.
inline double valueOf(std::string text) {
    const size_t minus = text.find("\u2212");
    if (minus != std::string::npos) text.replace(minus, std::string("\u2212").size(), "-");
    return std::stod(text);
}

/// Compares every figure that stands on the page now with what travels in it; returns how many
/// there were.
inline size_t checkFigures(Chromium& chromium, const json& survey) {
    const json shown = chromium.run(
        "[...document.querySelectorAll('[data-figure]')].map((e) => ({path: e.dataset.figure, "
        "digits: +e.dataset.digits, scale: +e.dataset.scale, text: e.firstChild.textContent}))");
    for (const json& figure : shown) {
        std::string pointer = "/" + figure.at("path").get<std::string>();
        std::replace(pointer.begin(), pointer.end(), '.', '/');
        const json& value = survey.at(json::json_pointer(pointer));
        const std::string text = figure.at("text");
        INFO(pointer << " is shown as " << text);
        if (value.is_null()) {
            CHECK(text == "–");
            continue;
        }
        const double right = value.get<double>() * figure.at("scale").get<double>();
        const double half_digit = 0.5 * std::pow(10, -figure.at("digits").get<double>());
        CHECK(std::abs(valueOf(text) - right) <= half_digit * (1 + 1e-6));
    }
    return shown.size();
}

}  // namespace plateloom::test
