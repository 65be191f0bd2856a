#include "io/report_page.h"

#include <nlohmann/json.hpp>

#include "io/page_template.h"

namespace plateloom::io {

namespace {

using nlohmann::json;

json picturesJson(const ReportPictures& pictures) {
    json thumbnails = json::array();
    for (const auto& jpeg : pictures.thumbnails) thumbnails.push_back(embedded(jpeg));
    return {{"thumbnails", thumbnails}, {"quick_panorama", embedded(pictures.quick_panorama)}};
}

}  // namespace

std::string reportPage(const json& survey, const ReportPictures& pictures) {
    return filledPage(kPageTemplate, {{"<!--{plain}-->", plainVerdict(survey)},
                                      {"<!--{survey}-->", scriptSafe(survey)},
                                      {"<!--{pictures}-->", scriptSafe(picturesJson(pictures))}});
}

void writeReportPage(const std::filesystem::path& folder, const json& survey,
                     const ReportPictures& pictures) {
    writePage(folder, reportPage(survey, pictures));
}

}  // namespace plateloom::io
