#include "io/page_filling.h"

#include <nlohmann/json.hpp>

#include "io/html.h"
#include "io/made_mark.h"
#include "io/new_file.h"

namespace plateloom::io {

using nlohmann::json;

namespace {

// RFC 4648, section 4.
std::string base64(std::string_view bytes) {
    constexpr char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string text;
    text.reserve((bytes.size() + 2) / 3 * 4);
    for (size_t i = 0; i < bytes.size(); i += 3) {
        uint32_t word = 0;
        for (size_t k = 0; k < 3; ++k)
            word = word << 8 | (i + k < bytes.size() ? uint8_t(bytes[i + k]) : 0);
        for (size_t k = 0; k < 4; ++k)
            text += i + k > bytes.size() ? '=' : digits[word >> (18 - 6 * k) & 63];
    }
    return text;
}

}  // namespace

json embedded(const std::string& jpeg) {
    return jpeg.empty() ? json(nullptr) : json(base64(jpeg));
}

// HTML ends a script at "</script" wherever it stands, and "<!--" confuses it too; inside JSON a
// "<" may as well be written as an escape.
std::string scriptSafe(const json& value) {
    std::string text;
    for (const char c : value.dump(-1, ' ', false, json::error_handler_t::replace))
        if (c == '<')
            text += "\\u003c";
        else
            text += c;
    return text;
}

std::string plainVerdict(const json& survey) {
    std::string html = "<h1>" + htmlText(survey.at("verdict")) + "</h1>\n";
    html += "<p>The figures and pictures need a browser that runs scripts.</p>\n<ol>\n";
    for (const auto& finding : survey.at("findings"))
        html += "<li>" + htmlText(finding.at("text")) + ". <strong>" +
                htmlText(finding.at("advice")) + "</strong></li>\n";
    return html + "</ol>";
}

std::string filledPage(std::string_view page_template,
                       const std::vector<std::pair<std::string_view, std::string>>& parts) {
    std::string page;
    size_t at = 0;
    for (const auto& [place, text] : parts) {
        const size_t found = page_template.find(place, at);
        page += page_template.substr(at, found - at);
        page += text;
        at = found + place.size();
    }
    page += page_template.substr(at);
    return page;
}

std::filesystem::path reportPagePath(const std::filesystem::path& folder) {
    return folder / "index.html";
}

void writePage(const std::filesystem::path& folder, const std::string& page) {
    makeFolder(folder);
    const auto path = reportPagePath(folder);
    writeText(path, page + "\n<!-- " + openMark(Made::page) + " -->\n");
}

}  // namespace plateloom::io
