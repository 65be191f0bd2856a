#include "stitch/report/take_report.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <system_error>

#include "io/display_picture.h"
#include "io/file_name.h"
#include "io/input_error.h"
#include "io/jpeg.h"
#include "io/take_page.h"
#include "stitch/report/report.h"

namespace plateloom::stitch {

namespace {

constexpr int kPicture_px = 1400, kPictureQuality = 82;
constexpr double kMiddleGrey = 0.18;

// Part of a picture, in pixels.
struct Box {
    int left = 0, top = 0, right = 0, bottom = 0;  // right and bottom are the first ones outside
};

void reach(const io::Picture& picture, Box& box) {
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x)
            if (picture.at(x, y)[3] > 0) {
                box.left = std::min(box.left, x);
                box.right = std::max(box.right, x + 1);
                box.top = std::min(box.top, y);
                box.bottom = std::max(box.bottom, y + 1);
            }
}

// The widest part of the turn that something is seen in: pictures are as large as it allows.
double panShareOf(const TakeSolve& solve) {
    const CoverMap map = coverMap(sphereFrames(standingPlates(solve.solved)), 360);
    int left = map.width, right = 0;
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x)
            if (map.at(x, y) > 0) {
                left = std::min(left, x);
                right = std::max(right, x + 1);
            }
    return std::clamp(double(right - left) / map.width, 0.05, 1.0);
}

PanoramaGrid smallGrid(const PanoramaGrid& grid, double pan_share) {
    PanoramaGrid small = grid;
    small.width = std::min(grid.width, int(kPicture_px / pan_share) / 2 * 2);
    small.height = std::max(1, int(std::lround(double(grid.height) * small.width / grid.width)));
    return small;
}

io::Picture smallFrame(const Take& take, const TakeSolve& solve, const PanoramaGrid& grid,
                       int64_t number) {
    const TakeFrame frame = takeFrame(take, solve.solved, number);
    SmallPlates small(frame.plates.size(), [&](int plate) { return *frame.store->get(plate); });
    return quickPanorama(frame.plates, small, grid, [&](const Overview& overview) {
        return solve.seams.onGrid(overview.grid.width, overview.grid.height).at(number);
    });
}

io::Picture cut(const io::Picture& picture, const Box& box) {
    io::Picture out(box.right - box.left, box.bottom - box.top, picture.channels);
    for (int y = 0; y < out.height; ++y)
        std::copy_n(picture.at(box.left, box.top + y), size_t(out.width) * size_t(out.channels),
                    out.at(0, y));
    return out;
}

// Pictures that a browser shows, by their way from the page; "" for none.
std::string previewFrom(const std::filesystem::path& folder, const std::string& preview) {
    const std::string extension = io::lowerExtension(preview);
    if (extension != ".jpg" && extension != ".jpeg" && extension != ".png") return {};
    std::error_code error;
    const auto from = std::filesystem::relative(std::filesystem::path(preview).parent_path().empty()
                                                    ? std::filesystem::path(".")
                                                    : std::filesystem::path(preview).parent_path(),
                                                folder, error);
    if (error || from.empty()) return {};
    return (from / std::filesystem::path(preview).filename()).generic_string();
}

}  // namespace

void writeTakeReport(const std::filesystem::path& folder, const Take& take, const TakeSolve& solve,
                     const TakeSurvey& survey) {
    const PanoramaGrid grid = smallGrid(survey.grid, panShareOf(solve));
    std::map<int64_t, io::Picture> composed;
    Box box{grid.width, grid.height, 0, 0};
    std::vector<const io::Picture*> all;
    for (const auto& picture : survey.pictures) {
        if (composed.contains(picture.frame)) continue;
        io::Picture& made = composed[picture.frame];
        try {
            made = smallFrame(take, solve, grid, picture.frame);
        } catch (const io::InputError&) {
            continue;
        }
        reach(made, box);
        all.push_back(&made);
    }
    if (box.right <= box.left) box = {0, 0, grid.width, grid.height};
    const float exposure = solve.typical_light > 0 ? float(kMiddleGrey / solve.typical_light)
                                                   : io::displayExposure(all);
    io::TakePictures pictures;
    for (const auto& picture : survey.pictures) {
        const io::Picture& made = composed[picture.frame];
        pictures.jpeg.push_back(
            made.width == 0
                ? std::string()
                : io::jpegOf(io::displayPicture(cut(made, box), exposure), kPictureQuality));
    }
    if (survey.frames) pictures.preview = previewFrom(folder, survey.frames->preview);
    nlohmann::json json = surveyJson(survey);
    // What of the panorama the pictures show, in shares of its width and height.
    json["shown"] = {{"x", double(box.left) / grid.width},
                     {"y", double(box.top) / grid.height},
                     {"width", double(box.right - box.left) / grid.width},
                     {"height", double(box.bottom - box.top) / grid.height},
                     {"top_tan", grid.top_tan},
                     {"bottom_tan", grid.bottom_tan}};
    io::writeTakePage(folder, json, pictures);
}

}  // namespace plateloom::stitch
