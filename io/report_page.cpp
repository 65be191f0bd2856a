#include "io/report_page.h"

#include <nlohmann/json.hpp>

#include "io/html.h"
#include "io/page_template.h"

namespace plateloom::io {

namespace {

using nlohmann::json;

// What there is to read where scripts do not run (a file manager's preview, say).
std::string plainReport(const json& survey) {
    std::string html = "<h1>" + htmlText(survey.at("verdict")) + "</h1>\n";
    html += "<p>The figures and pictures need a browser that runs scripts.</p>\n<ol>\n";
    for (const auto& finding : survey.at("findings"))
        html += "<li>" + htmlText(finding.at("text")) + ". <strong>" +
                htmlText(finding.at("advice")) + "</strong></li>\n";
    return html + "</ol>";
}

json picturesJson(const ReportPictures& pictures) {
    json thumbnails = json::array();
    for (const auto& jpeg : pictures.thumbnails) thumbnails.push_back(embedded(jpeg));
    return {{"thumbnails", thumbnails}, {"quick_panorama", embedded(pictures.quick_panorama)}};
}

}  // namespace

std::string reportPage(const json& survey, const ReportPictures& pictures) {
    return filledPage(kPageTemplate, {{"<!--{plain}-->", plainReport(survey)},
                                      {"<!--{survey}-->", scriptSafe(survey)},
                                      {"<!--{pictures}-->", scriptSafe(picturesJson(pictures))}});
}

void writeReportPage(const std::filesystem::path& folder, const json& survey,
                     const ReportPictures& pictures) {
    writePage(folder, reportPage(survey, pictures));
}

}  // namespace plateloom::io
