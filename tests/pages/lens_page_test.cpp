#include "io/lens_page.h"
#include "tests/pages/chromium.h"
#include "tests/pages/lens_figures.h"
#include "world/flat_field.h"
#include "world/lens_charts.h"
#include "world/recording.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

const calib::Sensor kSensor{36, 20.25, 640, 360};

// Charts at two focus distances, flat fields at two irises, and the pages made of them. Made once:
// the measurements are most of the tests' time.
struct PrepDay {
    Folder folder;
    ProgramRun chart, shading;

    PrepDay() {
        std::filesystem::create_directories(folder / "charts");
        std::filesystem::create_directories(folder / "fields");
        for (const double focus_m : {1.2, 6.0}) addCharts(focus_m);
        // Nothing to be seen in this one.
        world::writePrepExr(folder / "charts/blank <b>&.exr", io::Picture(640, 360, 3, 0.3f),
                            lens(6.0, 2.8), 28, kSensor);
        chart = run("calibrate chart " + quoted(folder / "charts") +
                    " --squares 8x5 --board checker --flat-board --json -o " +
                    quoted(folder / "lens.json") + " --report " + quoted(folder / "chart page"));
        for (const double t_stop : {2.0, 5.6}) addField(t_stop);
        shading =
            run("calibrate shading " + quoted(folder / "fields") + " --json -o " +
                quoted(folder / "shading.json") + " --report " + quoted(folder / "shading page"));
    }

    static calib::Lens lens(double focus_m, double t_stop) {
        return world::inventedLens(world::LensLook::barrel,
                                   calib::DistortionDirection::recorded_to_flat, 28, focus_m,
                                   t_stop);
    }
    void addCharts(double focus_m) const {
        const calib::Lens at = lens(focus_m, 2.8);
        const calib::LensMap map(at, kSensor);
        const world::Board board{world::BoardKind::checkerboard, 9, 6, 0.05};
        uint32_t seed = 0;
        for (const auto& pose : world::spreadPoses(board, map, 6, 3)) {
            world::ChartRender render;
            render.seed = ++seed;
            const std::string name = std::to_string(int(10 * focus_m)) + "_" + std::to_string(seed);
            world::writePrepExr(folder / ("charts/" + name + ".exr"),
                                renderChart(board, pose, map, render), at, 28, kSensor);
        }
    }
    void addField(double t_stop) const {
        world::FlatField field;
        field.tilt = {0.11, -0.07};
        field.dust_spots = 30;
        field.seed = uint32_t(10 * t_stop);
        const calib::Lens at = lens(4, t_stop);
        world::writePrepExr(folder / ("fields/t" + std::to_string(int(10 * t_stop)) + ".exr"),
                            renderField(calib::LensMap(at, kSensor), field), at, 28, kSensor);
    }
};

const PrepDay& prepDay() {
    static const PrepDay day;
    return day;
}

Chromium& browser() {
    static Chromium chromium;
    return chromium;
}

json lensOn(Chromium& chromium) {
    return chromium.run("JSON.parse(document.getElementById('lens').textContent)");
}

json count(Chromium& chromium, const std::string& selector) {
    return chromium.run("document.querySelectorAll('" + selector + "').length");
}

std::string textOf(Chromium& chromium, const std::string& id) {
    return chromium.run("document.getElementById('" + id + "').textContent");
}

// How many figures of one setting stand in a section; 0 when others stand there as well.
json figuresOf(Chromium& chromium, const std::string& section, size_t setting) {
    const std::string all = "[...document.querySelectorAll('" + section + " [data-figure]')]";
    const std::string mine =
        "e.dataset.figure.startsWith('settings." + std::to_string(setting) + ".')";
    return chromium.run(all + ".every((e) => " + mine + ") ? " + all + ".length : 0");
}

// How far the page is wider than the window: something sticks out.
json sticksOut(Chromium& chromium) {
    return chromium.run(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth");
}

}  // namespace

TEST_CASE("a measured lens's page opens offline, asks for nothing and complains of nothing",
          "[page][lens_page]") {
    const PrepDay& day = prepDay();
    Chromium& chromium = browser();
    for (const char* name : {"chart page", "shading page"}) {
        const auto page = day.folder / name / "index.html";
        INFO(day.chart.err << day.shading.err);
        REQUIRE(std::filesystem::exists(page));
        for (const int width : {1024, 390}) {
            chromium.show(page, {width, 768, width == 390});
            CHECK(chromium.complaints().empty());
            CHECK(chromium.requests().size() == 1);
            CHECK(sticksOut(chromium) == 0);
        }
    }
}

TEST_CASE("the page of a lens measured from charts shows the program's own figures",
          "[page][lens_page]") {
    const PrepDay& day = prepDay();
    INFO(day.chart.err);
    const json summary = json::parse(day.chart.out);
    Chromium& chromium = browser();
    chromium.show(day.folder / "chart page/index.html", {});
    const json lens = lensOn(chromium);
    REQUIRE(lens.at("settings").size() == 2);
    REQUIRE(summary.at("lenses").size() == 2);
    for (size_t i = 0; i < 2; ++i) {
        const json& shown = lens.at("settings")[i];
        for (const char* field :
             {"focal_mm", "focal_sigma_mm", "rms_px", "held_out_rms_px", "terms"})
            CHECK(shown.at(field) == summary.at("lenses")[i].at(field));
        // Another setting, chosen in the bar at the top.
        chromium.run("(() => { const s = document.getElementById('setting'); s.value = " +
                     std::to_string(i) + "; s.dispatchEvent(new Event('change')); })()");
        CHECK(chromium.run("document.querySelector('#chosen h2').textContent") ==
              shown.at("name").get<std::string>());
        CHECK(chartFigures(chromium, lens, i) > 60);
        CHECK(figuresOf(chromium, "#all", i) > 20);
        CHECK(count(chromium, "#straight [data-picture]") == shown.at("pictures").size());
        CHECK(count(chromium, "#before img") == 2);
        CHECK(chromium.run("[...document.images].every((i) => i.complete && i.naturalWidth > 0)") ==
              true);
        CHECK(count(chromium, "#percent .curve") > 0);
        chromium.run("document.querySelector('[data-place=flat]').click()");
        CHECK(chromium.run("[...document.querySelectorAll('#before figure')].filter((f) => "
                           "f.clientHeight > 0).map((f) => f.dataset.is)") == json{"flat"});
        CHECK(textOf(chromium, "exaggeration").find("times as strong as it is") !=
              std::string::npos);
    }
    // A setting's place on the diagram of focal lengths chooses it as well.
    CHECK(count(chromium, "#breathing .point") == 2);
    chromium.run("document.querySelector('#breathing .point').dispatchEvent(new Event('click'))");
    CHECK(chromium.run("document.getElementById('setting').value") == "0");
    CHECK(count(chromium, "#breathing .point.chosen") == 1);
    // The picture without a board is named, and its name stays text.
    chromium.run("document.querySelectorAll('#settings tr button')[1].click()");
    CHECK(textOf(chromium, "straight").find("blank <b>&.exr") != std::string::npos);
    CHECK(count(chromium, "b > b, .file b") == 0);
}

TEST_CASE("the distortion on the page is the lens's own, in percent and as a grid",
          "[page][lens_page]") {
    const PrepDay& day = prepDay();
    Chromium& chromium = browser();
    chromium.show(day.folder / "chart page/index.html", {});
    const json lens = lensOn(chromium);
    for (size_t i = 0; i < 2; ++i) {
        const json& at = lens.at("settings")[i];
        // The true lens, within what six small pictures can tell.
        const calib::LensMap truth(PrepDay::lens(i == 0 ? 1.2 : 6.0, 2.8), kSensor);
        const auto& grid = at.at("grid");
        const int across = grid.at("across"), down = grid.at("down");
        const double reach_mm = at.at("support").at("reach_mm");
        int compared = 0;
        for (int j = 0; j <= down; ++j)
            for (int k = 0; k <= across; ++k) {
                const calib::Vector2d flat_px(640.0 * k / across, 360.0 * j / down);
                const auto recorded =
                    truth.recordedFromFlat_mm(calib::mmFromPixel(kSensor, flat_px));
                REQUIRE(recorded);
                if (recorded->norm() > reach_mm) continue;
                const calib::Vector2d moved = calib::pixelFromMm(kSensor, *recorded) - flat_px;
                const auto node = size_t(j * (across + 1) + k);
                CHECK(std::hypot(grid.at("moved_x_px")[node].get<double>() - moved.x(),
                                 grid.at("moved_y_px")[node].get<double>() - moved.y()) < 1.0);
                ++compared;
            }
        CHECK(compared > 500);
        for (const auto& point : at.at("distortion"))
            if (point.at("flat_mm") > 0.0)
                CHECK(point.at("percent").get<double>() ==
                      Approx(100 * (point.at("height_mm").get<double>() /
                                        point.at("flat_mm").get<double>() -
                                    1))
                          .margin(0.01));
    }
}

TEST_CASE("residuals can be looked at of one picture, and as means", "[page][lens_page]") {
    const PrepDay& day = prepDay();
    Chromium& chromium = browser();
    chromium.show(day.folder / "chart page/index.html", {});
    const json lens = lensOn(chromium);
    const auto choose = [&](const std::string& value) {
        chromium.run("(() => { const s = document.getElementById('residual-choice'); s.value = '" +
                     value + "'; s.dispatchEvent(new Event('change')); })()");
        return textOf(chromium, "residual-words");
    };
    const json& residuals = lens.at("settings")[0].at("residuals");
    int of_first = 0;
    for (const auto& point : residuals) of_first += point[4] == 0;
    CHECK(of_first > 20);
    CHECK(choose("0").rfind(std::to_string(of_first) + " points drawn", 0) == 0);
    CHECK(choose("").rfind(std::to_string(residuals.size()) + " points drawn", 0) == 0);
    CHECK(choose("means").find("cells drawn") != std::string::npos);
    CHECK(count(chromium, "#residuals svg.over-frame") == 1);
}

TEST_CASE("the page of a measured shading shows every setting, and the one chosen large",
          "[page][lens_page]") {
    const PrepDay& day = prepDay();
    INFO(day.shading.err);
    const json summary = json::parse(day.shading.out);
    Chromium& chromium = browser();
    chromium.show(day.folder / "shading page/index.html", {});
    const json lens = lensOn(chromium);
    REQUIRE(lens.at("settings").size() == 2);
    CHECK(count(chromium, ".multiples svg") == 2);
    for (size_t i = 0; i < 2; ++i) {
        chromium.run("document.querySelectorAll('.multiples button')[" + std::to_string(i) +
                     "].click()");
        const json& shown = lens.at("settings")[i];
        CHECK(chromium.run("document.querySelector('#chosen h2').textContent") ==
              shown.at("name").get<std::string>());
        CHECK(shadingFigures(chromium, lens, i) > 25);
        CHECK(figuresOf(chromium, "#falloff", i) == 2);
        for (const char* field : {"a1", "a2", "a3", "rms", "used_cells", "ignored_cells"})
            CHECK(shown.at(field) == summary.at("settings")[i].at(field));
        // A ring's point a profile, the fit, and the cosine-fourth law of the recorded focal
        // length.
        CHECK(count(chromium, "#falloff .diagram .ring") == shown.at("profile").size());
        CHECK(count(chromium, "#falloff .diagram .natural") == 1);
        CHECK(count(chromium, "#cells canvas") == 2);
        // cos⁴ of atan(r / F), as the law is written; no chart was measured, so heights are
        // recorded ones.
        for (const auto& at : shown.at("curve"))
            CHECK(at.at("natural_stops").get<double>() ==
                  Approx(-4 * std::log2(std::cos(std::atan(at.at("height_mm").get<double>() / 28))))
                      .margin(1e-4));
    }
}

TEST_CASE("a lens's page that can't be written ends the job before it begins",
          "[page][lens_page]") {
    const PrepDay& day = prepDay();
    const Folder folder;
    put(folder / "in the way", "a file");
    const ProgramRun ran =
        run("calibrate shading " + quoted(day.folder / "fields") + " -o " +
            quoted(folder / "l.json") + " --report " + quoted(folder / "in the way"));
    CHECK(ran.status == 4);
    CHECK(ran.err.find("in the way: a file stands where this folder should be") !=
          std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder / "l.json"));
    CHECK(contents(folder / "in the way") == "a file");
}
