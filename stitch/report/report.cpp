#include "stitch/report/report.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "io/display_picture.h"
#include "io/input_error.h"
#include "io/jpeg.h"
#include "io/new_file.h"
#include "io/report_page.h"
#include "stitch/compose/compose.h"
#include "stitch/job/stage_clock.h"

namespace plateloom::stitch {

namespace {

constexpr int kThumbnail_px = 240, kThumbnailQuality = 82, kPanoramaQuality = 85;
// Beyond so many plates thumbnails shrink, so that the page stays within about 3 MB.
constexpr double kPlatesAtFullSize = 80;

io::Picture linearPicture(const io::PlatePixels& pixels) {
    io::Picture picture(pixels.width, pixels.height, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, picture.at(x, y));
    return picture;
}

int thumbnailSize(int plates) {
    const double share = std::min(1.0, std::sqrt(kPlatesAtFullSize / std::max(1, plates)));
    return std::max(64, int(kThumbnail_px * share));
}

std::string thumbnail(SmallPlates& small, int plate, float exposure) {
    try {
        const auto pixels = shrunk(*small.get(plate), thumbnailSize(small.size()));
        return io::jpegOf(io::displayPicture(linearPicture(pixels), exposure), kThumbnailQuality);
    } catch (const io::InputError&) {
        return {};
    }
}

// The exposure of all pictures of the page; without a panorama the first readable plate's.
float exposureOf(const io::Picture& panorama, SmallPlates& small) {
    if (panorama.width > 0) return io::displayExposure({&panorama});
    for (int i = 0; i < small.size(); ++i) try {
            const io::Picture plate = linearPicture(*small.get(i));
            return io::displayExposure({&plate});
        } catch (const io::InputError&) {
            continue;
        }
    return 1;
}

}  // namespace

void prepareReport(const std::filesystem::path& folder) {
    io::makeFolder(folder);
    const io::NewFile can_be_written(io::reportPagePath(folder));
}

io::Picture quickPanorama(const std::vector<PlacedPlate>& placed, SmallPlates& small, int width) {
    PanoramaGrid grid;
    grid.width = width;
    grid.height = width / 2;
    return quickPanorama(placed, small, grid, nullptr);
}

io::Picture quickPanorama(const std::vector<PlacedPlate>& placed, SmallPlates& small,
                          const PanoramaGrid& grid,
                          std::function<LabelBlend(const Overview&)> seams) {
    if (placed.empty()) return {};
    std::vector<PlacedPlate> plates;
    for (PlacedPlate plate : placed) {
        const auto pixels = small.get(plate.plate);
        calib::Sensor sensor = plate.lens.sensor();
        sensor.width_px = pixels->width;
        sensor.height_px = pixels->height;
        plate.lens = calib::LensMap(plate.lens.lens(), sensor);
        plates.push_back(plate);
    }
    PlateStore store([&](int plate) { return *small.get(plate); });
    ComposeSettings settings;
    settings.grid = grid;
    settings.tile = 512;
    settings.preview_width = size_t(grid.width);
    settings.seams = std::move(seams);
    const auto drop = [](int, int, const io::Picture&) {};
    return compose(plates, store, settings, drop, [](const std::string&, double) {}).preview;
}

void surveyJob(JobReport& report, Solve& solve, const Progress& progress) {
    JobRecord& record = report.record;
    StageClock clock(progress);
    clock.begin("report");
    if (record.panorama.width == 0)
        record.panorama = quickPanorama(placedPlates(solve.plates), *record.small);
    report.survey = surveyOf(record.plates, solve);
    clock.end();
    report.survey.stages.push_back(clock.times().front());
    solve.times = report.survey.stages;
}

void writeReport(const std::filesystem::path& folder, Survey survey, SmallPlates& small,
                 const io::Picture& panorama) {
    const float exposure = exposureOf(panorama, small);
    io::ReportPictures pictures;
    pictures.thumbnails.resize(survey.plates.size());
    const int thumbnails = std::min(small.size(), int(survey.plates.size()));
    tbb::parallel_for(0, thumbnails, [&](int i) {
        pictures.thumbnails[size_t(i)] = thumbnail(small, i, exposure);
    });
    survey.quick_panorama.reset();
    if (panorama.width > 0) {
        pictures.quick_panorama =
            io::jpegOf(io::displayPicture(panorama, exposure), kPanoramaQuality);
        survey.quick_panorama = {panorama.width, panorama.height};
    }
    io::writeReportPage(folder, surveyJson(survey), pictures);
}

}  // namespace plateloom::stitch
