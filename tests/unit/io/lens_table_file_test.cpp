#include "io/lens_table_file.h"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <thread>

#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/output_guard.h"

using namespace plateloom;

namespace {

const calib::Sensor kSensor{36, 20.25, 2048, 1152};

// A place of one's own on disk, gone afterwards.
struct Folder {
    std::filesystem::path path;
    explicit Folder(const std::string& name)
        : path(std::filesystem::temp_directory_path() / ("plateloom_lens_table_" + name)) {
        std::filesystem::remove_all(path);
        std::filesystem::create_directories(path);
    }
    ~Folder() { std::filesystem::remove_all(path); }
};

calib::MeasuredLens chartAt(double focus_m) {
    calib::MeasuredLens out;
    out.setting = {focus_m, std::nullopt, 28.0};
    out.lens.focal_mm = 28.1 + 0.5 / focus_m;
    out.lens.distortion.radial = {1.4e-4, 0, 3e-8, 0, 0, 0};
    out.lens.distortion_offset_mm = {0.08, -0.05};
    out.lens.projection_offset_mm = {-0.06, 0.11};
    out.geometry = true;
    out.supported_radius_mm = 17.2;
    out.rms_px = 0.08;
    out.geometry_sigma = {0.0005, 2e-6, {0.00025, 0.0007, 0.004}};
    return out;
}

calib::MeasuredLens fieldAt(double focus_m, std::optional<double> t_stop) {
    calib::MeasuredLens out;
    out.setting = {focus_m, t_stop, 28.0};
    out.lens.shading = {4e-4, 5e-7, -1e-10};
    out.shading = true;
    return out;
}

calib::LensTable tableOf(std::vector<calib::MeasuredLens> measured) {
    return {kSensor, std::move(measured), "Prime 28"};
}

std::string textOf(const std::filesystem::path& path) {
    std::ifstream in(path);
    std::ostringstream out;
    out << in.rdbuf();
    return out.str();
}

}  // namespace

TEST_CASE("a lens table comes back from its file as it went in", "[lens_table_file]") {
    const Folder folder("round");
    const auto path = folder.path / "LENS.json";
    io::addToLensTable(path, tableOf({chartAt(4), chartAt(1)}));
    CHECK(io::isLensTable(path));
    const calib::LensTable read = io::readLensTable(path);
    CHECK(read.name == "Prime 28");
    CHECK(read.sensor.width_mm == 36);
    CHECK(read.sensor.height_px == 1152);
    REQUIRE(read.measured.size() == 2);
    const calib::MeasuredLens& near = read.measured[0];  // in the order of their focus
    CHECK(near.setting.focus_m == 1.0);
    CHECK(near.setting.focal_mm == 28.0);
    CHECK(!near.setting.t_stop);
    CHECK(near.geometry);
    CHECK(!near.shading);
    CHECK(near.supported_radius_mm == 17.2);
    CHECK(near.rms_px == 0.08);
    CHECK(near.geometry_sigma.axis_mm == 0.0005);
    CHECK(near.geometry_sigma.tangential_per_mm == 2e-6);
    CHECK(near.geometry_sigma.radial_mm == std::array<double, 3>{0.00025, 0.0007, 0.004});
    CHECK(near.lens.focal_mm == chartAt(1).lens.focal_mm);
    CHECK(near.lens.distortion.radial == chartAt(1).lens.distortion.radial);
    CHECK(near.lens.projection_offset_mm == chartAt(1).lens.projection_offset_mm);
}

TEST_CASE("the samples of a lens table are OpenTrackIO lens blocks that any reader takes",
          "[lens_table_file]") {
    const Folder folder("track");
    const auto path = folder.path / "LENS.json";
    io::addToLensTable(path, tableOf({chartAt(4), fieldAt(4, 2.8)}));
    const io::LensTrack track = io::readLensTrack(path);
    REQUIRE(track.samples.size() == 2);
    CHECK(track.samples[0].has_distortion);
    CHECK(!track.samples[0].has_shading);
    CHECK(track.samples[1].has_shading);
    CHECK(!track.samples[1].has_distortion);
    CHECK(track.samples[1].focal_is_nominal);
}

TEST_CASE("charts and flat fields make one file, and measuring again replaces that part alone",
          "[lens_table_file]") {
    const Folder folder("merge");
    const auto path = folder.path / "LENS.json";
    io::addToLensTable(path, tableOf({chartAt(4)}));
    calib::MeasuredLens field = fieldAt(4, std::nullopt);
    io::addToLensTable(path, tableOf({field}));
    calib::LensTable read = io::readLensTable(path);
    REQUIRE(read.measured.size() == 1);
    CHECK((read.measured[0].geometry && read.measured[0].shading));
    CHECK(read.measured[0].lens.shading.a1 == 4e-4);
    CHECK(read.measured[0].lens.focal_mm == chartAt(4).lens.focal_mm);

    calib::MeasuredLens again = chartAt(4);
    again.lens.focal_mm = 28.4;
    const std::string before = textOf(path);
    CHECK_THROWS_AS(io::addToLensTable(path, tableOf({again})), io::OutputRefused);
    CHECK_NOTHROW(io::addToLensTable(path, tableOf({chartAt(4)})));  // the same replaces nothing
    CHECK(textOf(path) == before);
    io::addToLensTable(path, tableOf({again}), true);
    field.lens.shading.a1 = 6e-4;
    CHECK_THROWS_WITH(io::addToLensTable(path, tableOf({field})),
                      Catch::Contains("shading") && Catch::Contains("--overwrite"));
    io::addToLensTable(path, tableOf({field}), true);
    read = io::readLensTable(path);
    REQUIRE(read.measured.size() == 1);
    CHECK(read.measured[0].lens.focal_mm == 28.4);
    CHECK(read.measured[0].lens.shading.a1 == 6e-4);
    CHECK(read.measured[0].supported_radius_mm == 17.2);
}

TEST_CASE("runs that add to one table at once lose nothing of each other", "[lens_table_file]") {
    const Folder folder("at_once");
    const auto path = folder.path / "LENS.json";
    std::vector<std::thread> runs;
    for (int i = 0; i < 12; ++i)
        runs.emplace_back([&, i] { io::addToLensTable(path, tableOf({chartAt(1 + i)})); });
    for (auto& run : runs) run.join();
    CHECK(io::readLensTable(path).measured.size() == 12);
}

TEST_CASE("the same measurements written twice are the same bytes", "[lens_table_file]") {
    const Folder folder("bytes");
    io::addToLensTable(folder.path / "a.json", tableOf({chartAt(4), fieldAt(4, 2.8)}));
    io::addToLensTable(folder.path / "b.json", tableOf({chartAt(4)}));
    io::addToLensTable(folder.path / "b.json", tableOf({fieldAt(4, 2.8)}));
    CHECK(textOf(folder.path / "a.json") == textOf(folder.path / "b.json"));
}

TEST_CASE("measurements that make no one lens are refused, and the file stays as it was",
          "[lens_table_file]") {
    const Folder folder("refused");
    const auto path = folder.path / "LENS.json";
    io::addToLensTable(path, tableOf({chartAt(4)}));
    const std::string before = textOf(path);

    calib::LensTable other = tableOf({fieldAt(4, 2.8)});
    other.sensor = {24, 13.5, 2048, 1152};
    CHECK_THROWS_WITH(io::addToLensTable(path, other),
                      Catch::Contains("its sensor is 36 x 20.25 mm, not the 24 x 13.5 mm"));
    other.sensor = {36, 24, 2048, 1365};
    CHECK_THROWS_WITH(io::addToLensTable(path, other), Catch::Contains("another shape"));
    other.sensor = {36, 20.25, 4096, 2304};  // the same area in more pixels
    CHECK_NOTHROW(io::merged(io::readLensTable(path), other, path));

    calib::LensTable turned = tableOf({chartAt(1)});
    turned.measured[0].lens.distortion.direction = calib::DistortionDirection::flat_to_recorded;
    CHECK_THROWS_WITH(io::addToLensTable(path, turned), Catch::Contains("D-U and U-D"));

    calib::LensTable unsaid = tableOf({chartAt(1)});
    unsaid.measured[0].setting.focus_m.reset();
    CHECK_THROWS_WITH(io::addToLensTable(path, unsaid), Catch::Contains("focus distance"));
    CHECK(textOf(path) == before);

    std::ofstream(folder.path / "notes.json") << "{\"mine\": 1}\n";
    CHECK_THROWS_WITH(io::addToLensTable(folder.path / "notes.json", tableOf({chartAt(4)})),
                      Catch::Contains("is no lens table"));
    CHECK(textOf(folder.path / "notes.json") == "{\"mine\": 1}\n");
}

TEST_CASE("a table in f-numbers stays one", "[lens_table_file]") {
    const Folder folder("stops");
    const auto path = folder.path / "LENS.json";
    calib::MeasuredLens field = fieldAt(4, 2.8);
    field.lens.f_stop = 2.8;
    io::addToLensTable(path, tableOf({field}));
    const calib::LensTable read = io::readLensTable(path);
    CHECK(read.measured[0].setting.t_stop == 2.8);
    CHECK(read.measured[0].lens.f_stop == 2.8);
    CHECK(!read.measured[0].lens.t_stop);
}

TEST_CASE("an uncertainty below zero is refused by its name", "[lens_table_file]") {
    const Folder folder("sigma");
    const auto path = folder.path / "LENS.json";
    io::addToLensTable(path, tableOf({chartAt(4)}));
    std::string text = textOf(path);
    const auto at = text.find("0.0005");
    REQUIRE(at != std::string::npos);
    std::ofstream(path) << text.replace(at, 6, "-0.0005");
    CHECK_THROWS_WITH(io::readLensTable(path), Catch::Contains("axisSigma_mm"));

    text = textOf(path).replace(at, 7, "0.0005");
    for (const char* wrong : {"-0.00025", "0.1,0.00025"}) {
        std::string bad = text;
        std::ofstream(path) << bad.replace(bad.find("0.00025"), 7, wrong);
        CHECK_THROWS_WITH(io::readLensTable(path), Catch::Contains("radialSigmas_mm"));
    }
}
