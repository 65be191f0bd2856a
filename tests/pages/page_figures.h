// The figures that stand on a page, against what the test says should stand there: under which
// label, from which value of the survey, at which scale and with how many digits.
#pragma once

#include <algorithm>
#include <cmath>
#include <regex>
#include <sstream>

#include "tests/pages/chromium.h"

namespace plateloom::test {

/// "−0.37" as the page writes it: the minus is U+2212.
inline double valueOf(std::string text) {
    const size_t minus = text.find("\u2212");
    if (minus != std::string::npos) text.replace(minus, std::string("\u2212").size(), "-");
    return std::stod(text);
}

/// A text for each index below `count`; `*` stands for the index.
inline std::vector<std::string> forEach(size_t count, const std::string& text) {
    std::vector<std::string> out;
    for (size_t i = 0; i < count; ++i)
        out.push_back(std::regex_replace(text, std::regex("\\*"), std::to_string(i)));
    return out;
}

/// Compares texts of a page with texts that the test states. A stated text holds
///   {PATH DIGITS [SCALE]}   a number of the survey ("plates.3.rms_px"): "–" where it is null
///   {=NUMBER DIGITS}        a number that the test worked out itself
///   {PATH}                  words or a whole number of the survey, as they are
///   ...                     anything
/// and otherwise what the page says, a plain space and a plain minus for every kind of them. Cells
/// of a row and lines of a list of names and values are separated by " | ".
class PageFigures {
public:
    PageFigures(Chromium& chromium, const json& survey) : chromium_(chromium), survey_(survey) {
        chromium_.run(
            "document.querySelectorAll('[data-stated]').forEach((e) => delete e.dataset.stated)");
    }

    /// The elements that `selector` finds, in the page's order, say this.
    void state(const std::string& selector, const std::vector<std::string>& texts) {
        const json shown = chromium_.run(kTextsOf + json(selector).dump() + ")");
        INFO(selector << " says " << shown.dump(1));
        REQUIRE(shown.size() == texts.size());
        for (size_t i = 0; i < texts.size(); ++i) compare(shown[i], texts[i]);
    }

    /// How many figures were compared. Fails when one stands on the page outside of what was
    /// stated, or stands in a text where "..." was stated.
    size_t count() {
        const json left = chromium_.run(
            "[...document.querySelectorAll('[data-figure]')].filter((e) => "
            "!e.closest('[data-stated]')).map((e) => e.dataset.figure)");
        INFO("not stated: " << left.dump());
        CHECK(left.empty());
        CHECK(chromium_.run("document.querySelectorAll('[data-stated] [data-figure]').length") ==
              compared_);
        return compared_;
    }

private:
    static inline const std::string kTextsOf = R"(((selector) => {
        const text = (e) => e.tagName === 'TR' ? [...e.children].map(text).join(' | ')
            : e.tagName === 'DL' ? [...e.children].map((line) =>
                [...line.children].map(text).join(': ')).join(' | ') : e.textContent;
        return [...document.querySelectorAll(selector)].map((e) => {
            e.dataset.stated = 'yes';
            return text(e).replace(/[\s\u00a0\u202f\u2003]+/g, ' ').replace(/\u2212/g, '-').trim();
        }); })()";

    [[nodiscard]] const json& at(std::string path) const {
        std::replace(path.begin(), path.end(), '.', '/');
        return survey_.at(json::json_pointer("/" + path));
    }

    struct Number {
        std::string said;
        double value = 0;
        int digits = 0;
    };

    static std::string escaped(const std::string& text) {
        static const std::regex special(R"([.^$|()\[\]{}*+?\\])");
        std::string out;
        size_t from = 0;
        for (size_t to; (to = text.find("...", from)) != std::string::npos; from = to + 3)
            out += std::regex_replace(text.substr(from, to - from), special, "\\$&") + ".*?";
        return out + std::regex_replace(text.substr(from), special, "\\$&");
    }

    // What one {} stands for, as a pattern.
    std::string patternOf(const std::string& stated, std::vector<Number>& numbers) {
        std::istringstream words(stated);
        std::string path;
        Number number{stated, 0, -1};
        double scale = 1;
        words >> path >> number.digits;
        if (double given; words >> given) scale = given;
        const bool own = path[0] == '=';
        const json value = own ? json(std::stod(path.substr(1))) : at(path);
        if (stated.find(' ') == std::string::npos)
            return escaped(value.is_string() ? value.get<std::string>() : value.dump());
        ++compared_;
        if (value.is_null()) return "–";
        number.value = value.get<double>() * scale;
        // A focus distance from 100 km on is infinity.
        if (path.find("focus_m") != std::string::npos && number.value >= 1e5) return "infinity";
        numbers.push_back(number);
        return "(-?[0-9]+(?:\\.[0-9]+)?)";
    }

    void compare(const std::string& shown, const std::string& stated) {
        std::vector<Number> numbers;
        std::string pattern;
        size_t from = 0;
        for (size_t open; (open = stated.find('{', from)) != std::string::npos;) {
            const size_t close = stated.find('}', open);
            pattern += escaped(stated.substr(from, open - from)) +
                       patternOf(stated.substr(open + 1, close - open - 1), numbers);
            from = close + 1;
        }
        pattern += escaped(stated.substr(from));
        INFO("the page says " << shown << "\nthe test says " << stated);
        std::smatch match;
        CHECK(std::regex_match(shown, match, std::regex(pattern)));
        if (match.size() != numbers.size() + 1) return;
        for (size_t i = 0; i < numbers.size(); ++i) {
            const std::string text = match[i + 1];
            INFO(numbers[i].said << " is shown as " << text);
            const size_t point = text.find('.');
            const size_t digits = point == std::string::npos ? 0 : text.size() - point - 1;
            CHECK(digits == size_t(numbers[i].digits));
            CHECK(std::abs(std::stod(text) - numbers[i].value) <=
                  0.5 * std::pow(10, -numbers[i].digits) * (1 + 1e-6));
        }
    }

    Chromium& chromium_;
    const json& survey_;
    size_t compared_ = 0;
};

/// What every page says of the job at its foot.
inline void stateJob(PageFigures& page, const json& survey) {
    std::string times = "Time:";
    for (size_t i = 0; i < survey.at("stages").size(); ++i) {
        const std::string at = "stages." + std::to_string(i);
        times += " {" + at + ".stage} {" + at + ".seconds 1} s";
    }
    page.state("#job .stages", {times});
    if (survey.at("peak_memory_bytes") > 0)
        page.state("#job .stages + p", {"Memory: {peak_memory_bytes 1 1e-9} GB"});
}

}  // namespace plateloom::test
