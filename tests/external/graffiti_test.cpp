// The graffiti pair of Mikolajczyk and Schmid (A Performance Evaluation of Local Descriptors, PAMI
// 2005) with its published homography, as Debian's package opencv-doc carries them: graf1.png,
// graf3.png, H1to3p.xml.
#include <OpenImageIO/imageio.h>

#include <Eigen/LU>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <numeric>
#include <sstream>

#include "stitch/ties/descriptor_matches.h"
#include "stitch/ties/pairs.h"
#include "stitch/ties/refine_ties.h"

using namespace plateloom::stitch;
namespace calib = plateloom::calib;
namespace io = plateloom::io;

namespace {

const std::filesystem::path kFolder = "/usr/share/doc/opencv-doc/examples/data";

io::PlatePixels readPng(const std::filesystem::path& path) {
    auto file = OIIO::ImageInput::open(path.string());
    REQUIRE(file);
    const auto& spec = file->spec();
    std::vector<float> codes(size_t(spec.width) * spec.height * spec.nchannels);
    REQUIRE(file->read_image(0, 0, 0, spec.nchannels, OIIO::TypeFloat, codes.data()));
    io::PlatePixels plate;
    plate.width = spec.width;
    plate.height = spec.height;
    plate.clip_level = 1.0f;
    plate.full.resize(size_t(spec.width) * spec.height * 4, 1.0f);
    for (size_t i = 0; i < size_t(spec.width) * spec.height; ++i) {
        for (int c = 0; c < 3; ++c) {
            plate.full[4 * i + c] = std::pow(codes[i * spec.nchannels + c], 2.2f);
        }
    }
    return plate;
}

Matrix3d readHomography(const std::filesystem::path& path) {
    std::ifstream file(path);
    std::stringstream text;
    text << file.rdbuf();
    const std::string all = text.str();
    std::istringstream numbers(all.substr(all.find("<data>") + 6));
    Matrix3d H;
    for (int i = 0; i < 9; ++i) numbers >> H(i / 3, i % 3);
    REQUIRE(numbers);
    return H;
}

LightPicture lightOf(const io::PlatePixels& plate) {
    calib::Lens lens;
    lens.focal_mm = 35;
    return lightPicture(plate, calib::LensMap(lens, {36, 28.8, plate.width, plate.height}));
}

double median(std::vector<double> values) {
    std::nth_element(values.begin(), values.begin() + ptrdiff_t(values.size() / 2), values.end());
    return values[values.size() / 2];
}

}  // namespace

TEST_CASE("Features of the graffiti pair match as the published homography says") {
    if (!std::filesystem::exists(kFolder / "graf1.png") ||
        !std::filesystem::exists(kFolder / "H1to3p.xml")) {
        WARN("graffiti pair not found in " << kFolder.string()
                                           << " (package opencv-doc): nothing was checked");
        return;
    }
    const LightPicture light_a = lightOf(readPng(kFolder / "graf1.png"));
    const LightPicture light_b = lightOf(readPng(kFolder / "graf3.png"));
    const Matrix3d H = readHomography(kFolder / "H1to3p.xml");
    // The homography counts from the first pixel's centre.
    const TransferAToB transfer = [&](const Vector2d& px) -> std::optional<Vector2d> {
        const Vector3d p = H * Vector3d(px.x() - 0.5, px.y() - 0.5, 1);
        return Vector2d(p.x() / p.z() + 0.5, p.y() / p.z() + 0.5);
    };

    const PlateFeatures a = detectFeatures(light_a, 1500), b = detectFeatures(light_b, 1500);
    const DescriptorMatches matches = matchDescriptors(a.descriptors, b.descriptors);
    std::vector<Tie> near;
    int all = 0;
    for (int i = 0; i < int(matches.b_of_a.size()); ++i) {
        const auto& best = matches.b_of_a[size_t(i)];
        if (best[0].row < 0 || matches.a_of_b[size_t(best[0].row)].row != i) continue;
        if (squaredDistance(best[0].dot) > 0.64 * squaredDistance(best[1].dot)) continue;
        const Tie tie{0, 1, a.recorded_px[size_t(i)], b.recorded_px[size_t(best[0].row)], 1};
        ++all;
        if ((*transfer(tie.px_a) - tie.px_b).norm() < 3) near.push_back(tie);
    }
    RefineSettings settings;
    settings.search_px = 3.0;
    settings.least_correlation = 0.7;
    const auto refined = refineGivenTies(near, light_a, light_b, transfer, settings);
    std::vector<double> before, after;
    for (const Tie& tie : refined) {
        const auto same = std::find_if(near.begin(), near.end(),
                                       [&](const Tie& t) { return t.px_a == tie.px_a; });
        before.push_back((*transfer(tie.px_a) - same->px_b).norm());
        after.push_back((*transfer(tie.px_a) - tie.px_b).norm());
    }
    WARN("graffiti 1 to 3: " << near.size() << " of " << all << " matches within 3 px; "
                             << refined.size() << " registered, median error " << median(before)
                             << " px detected, " << median(after) << " px registered");
    CHECK(all > 100);
    CHECK(double(near.size()) / all > 0.6);
    CHECK(refined.size() > near.size() / 4);
    // The homography itself is good to about half a pixel.
    CHECK(median(after) < std::max(0.6, median(before)));
}
