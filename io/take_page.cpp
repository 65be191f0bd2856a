#include "io/take_page.h"

#include <nlohmann/json.hpp>

#include "io/page_template.h"

namespace plateloom::io {

namespace {

using nlohmann::json;

json picturesJson(const TakePictures& pictures) {
    json jpeg = json::array();
    for (const auto& one : pictures.jpeg) jpeg.push_back(embedded(one));
    return {{"jpeg", jpeg},
            {"preview", pictures.preview.empty() ? json(nullptr) : json(pictures.preview)}};
}

}  // namespace

std::string takePage(const json& survey, const TakePictures& pictures) {
    return filledPage(kTakePageTemplate,
                      {{"<!--{plain}-->", plainVerdict(survey)},
                       {"<!--{survey}-->", scriptSafe(survey)},
                       {"<!--{pictures}-->", scriptSafe(picturesJson(pictures))}});
}

void writeTakePage(const std::filesystem::path& folder, const json& survey,
                   const TakePictures& pictures) {
    writePage(folder, takePage(survey, pictures));
}

}  // namespace plateloom::io
