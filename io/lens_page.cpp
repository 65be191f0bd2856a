#include "io/lens_page.h"

#include <nlohmann/json.hpp>

#include "io/html.h"
#include "io/page_template.h"

namespace plateloom::io {

namespace {

using nlohmann::json;

// What there is to read where scripts do not run (a file manager's preview, say).
std::string plainLens(const json& lens) {
    std::string html = "<h1>" + htmlText(lens.at("verdict")) + "</h1>\n";
    html += "<p>The drawings and pictures need a browser that runs scripts.</p>\n";
    for (const auto& setting : lens.at("settings")) {
        html += "<h2>" + htmlText(setting.at("name")) + "</h2>\n";
        for (const auto& sentence : setting.at("verdict"))
            html += "<p>" + htmlText(sentence) + "</p>\n";
    }
    for (const auto& warning : lens.at("warnings"))
        html += "<p>Warning: " + htmlText(warning) + "</p>\n";
    return html;
}

json picturesJson(const std::vector<BeforeAndAfter>& pictures) {
    json out = json::array();
    for (const auto& one : pictures)
        out.push_back({{"recorded", embedded(one.recorded)}, {"flat", embedded(one.flat)}});
    return out;
}

}  // namespace

std::string lensPage(const json& lens, const std::vector<BeforeAndAfter>& pictures) {
    return filledPage(kLensPageTemplate,
                      {{"<!--{plain}-->", plainLens(lens)},
                       {"<!--{lens}-->", scriptSafe(lens)},
                       {"<!--{pictures}-->", scriptSafe(picturesJson(pictures))}});
}

void writeLensPage(const std::filesystem::path& folder, const json& lens,
                   const std::vector<BeforeAndAfter>& pictures) {
    writePage(folder, lensPage(lens, pictures));
}

}  // namespace plateloom::io
