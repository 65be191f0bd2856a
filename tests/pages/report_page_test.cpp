#include "tests/pages/chromium.h"
#include "tests/pages/report_figures.h"
#include "tests/pages/small_survey.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

// One browser for all tests that need no special one: starting it is most of their time.
Chromium& browser() {
    static Chromium chromium;
    return chromium;
}

struct Report {
    Folder folder;
    stitch::Survey survey;
    json figures;

    explicit Report(stitch::Survey of = smallSurvey()) : survey(std::move(of)) {
        const auto pictures = picturesFor(survey);
        figures = stitch::surveyJson(survey);
        io::writeReportPage(folder.path(), figures, pictures);
    }
    [[nodiscard]] std::filesystem::path page() const { return io::reportPagePath(folder.path()); }
};

struct Point {
    double x = 0, y = 0;
};

// Brings the sheet into sight, with nothing docked over it; where a direction lies in the window.
Point onSheet(Chromium& chromium, double pan_deg, double tilt_deg) {
    const json box = chromium.run(
        "(() => { const close = document.querySelector('.panel .close'); if (close) close.click();"
        "const sheet = document.getElementById('sheet');"
        "sheet.scrollIntoView({block: 'start', behavior: 'instant'}); scrollBy(0, -70);"
        "const box = sheet.getBoundingClientRect();"
        "return {x: box.left, y: box.top, w: box.width, h: box.height}; })()");
    return {box.at("x").get<double>() + box.at("w").get<double>() * (180 - pan_deg) / 360,
            box.at("y").get<double>() + box.at("h").get<double>() * (90 - tilt_deg) / 180};
}

// Brings the panorama's view into sight; its middle and height in the window. What a finger set
// moving may roll on for a while.
json viewAtRest(Chromium& chromium) {
    json box, before;
    for (int look = 0; look < 50 && (look == 0 || box != before); ++look) {
        before = box;
        box = chromium.run(
            "new Promise((done) => setTimeout(() => {"
            "const view = document.getElementById('view'), b = view.getBoundingClientRect();"
            "view.scrollIntoView({block: 'center'});"
            "done({x: b.left + b.width / 2, y: b.top + b.height / 2, h: b.height}); }, 120))");
    }
    return box;
}

std::string panel(Chromium& chromium) {
    return chromium.run("document.getElementById('panel').textContent");
}

json selected(Chromium& chromium) {
    return chromium.run(
        "[...document.querySelectorAll('.plate.chosen')].map((e) => +e.dataset.plate)");
}

// The colour in the middle of the view to look around in.
std::vector<int> middleColour(Chromium& chromium) {
    return chromium.run(
        "(() => { const view = document.getElementById('view'); const copy = "
        "document.createElement('canvas'); copy.width = copy.height = 1;"
        "const context = copy.getContext('2d');"
        "context.drawImage(view, view.width / 2, view.height / 2, 1, 1, 0, 0, 1, 1);"
        "return [...context.getImageData(0, 0, 1, 1).data].slice(0, 3); })()");
}

double readOut(Chromium& chromium, const std::string& id) {
    return valueOf(chromium.run("document.getElementById('" + id + "').textContent"));
}

}  // namespace

TEST_CASE("the report's page opens offline, asks for nothing and complains of nothing", "[page]") {
    const Report report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    CHECK(chromium.complaints().empty());
    REQUIRE(chromium.requests().size() == 1);
    CHECK(chromium.requests()[0].rfind("file://", 0) == 0);
    CHECK(chromium.run("document.getElementById('verdict-words').textContent") ==
          report.survey.verdict);
    CHECK(chromium.run("[...document.images].every((i) => i.complete && i.naturalWidth > 0)") ==
          true);
}

TEST_CASE("every figure on the page is the survey's", "[page]") {
    const Report report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    const size_t plates = report.survey.plates.size(), pairs = report.survey.pairs.size();
    REQUIRE(pairs > 10);
    CHECK(reportFigures(chromium, report.figures) > 10 * plates + 4 * pairs);
    for (size_t i = 0; i < plates; ++i) {
        chromium.run("document.querySelector('[data-card=\"" + std::to_string(i) + "\"]').click()");
        CHECK(reportFigures(chromium, report.figures, i) > 10 * plates + 4 * pairs + 8);
    }
    for (const size_t pair : {size_t(0), pairs - 1}) {
        const json& chosen = report.figures.at("pairs")[pair];
        chromium.run("document.querySelector('[data-card=\"" + chosen.at("a").dump() +
                     "\"]').click()");
        chromium.run("document.querySelector('[data-pair=\"" + std::to_string(pair) +
                     "\"]').click()");
        CHECK(reportFigures(chromium, report.figures, {}, pair) > 10 * plates + 4 * pairs + 3);
    }
    CHECK(chromium.run("+document.querySelector('.facts b').textContent") == plates - 1);
    CHECK(chromium.run("document.querySelectorAll('.findings > li').length") ==
          report.survey.findings.size());
}

TEST_CASE("the page puts what is grave first", "[page]") {
    const Report report;
    REQUIRE(report.survey.findings.size() > 1);
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    const json grave = chromium.run(
        "[...document.querySelectorAll('.finding')].map((e) => e.classList.contains('grave'))");
    CHECK(grave.front() == true);
    CHECK(grave.back() == false);
    CHECK(std::is_sorted(grave.rbegin(), grave.rend()));
}

TEST_CASE("a tap chooses the plate that lies there, and two plates where they overlap", "[page]") {
    const Report report;
    const auto& plates = report.survey.plates;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});

    // The lower edge of the lower row, below a plate's middle: nobody else looks there.
    const auto& lower = plates[10];
    Point at = onSheet(chromium, lower.pose.pan_deg, lower.pose.tilt_deg - 20);
    chromium.tap(at.x, at.y);
    CHECK(selected(chromium) == json{10});
    CHECK(panel(chromium).find(lower.file) != std::string::npos);

    // Half-way to its neighbour.
    const auto& next = plates[9];
    at = onSheet(chromium, (lower.pose.pan_deg + next.pose.pan_deg) / 2, lower.pose.tilt_deg - 15);
    chromium.tap(at.x, at.y);
    CHECK(selected(chromium) == json{9, 10});

    // A number is the plate's, whatever overlaps below it.
    at = onSheet(chromium, plates[1].pose.pan_deg, plates[1].pose.tilt_deg);
    chromium.tap(at.x, at.y);
    CHECK(selected(chromium) == json{1});

    at = onSheet(chromium, 20, -70);
    chromium.tap(at.x, at.y);
    CHECK(selected(chromium).empty());
    CHECK(panel(chromium).find("No plate sees pan 20°, tilt \u221270°") != std::string::npos);
}

TEST_CASE("a plate that lies over the panorama's edge is found on both sides of it", "[page]") {
    const Report report;
    const auto& plate = report.survey.plates[0];
    REQUIRE(plate.pose.pan_deg == Approx(170));
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    for (const double pan_deg : {175.0, -179.0}) {
        const Point at = onSheet(chromium, pan_deg, plate.pose.tilt_deg + 15);
        chromium.tap(at.x, at.y);
        INFO("pan " << pan_deg);
        const json chosen = selected(chromium);
        CHECK(std::find(chosen.begin(), chosen.end(), 0) != chosen.end());
    }
}

TEST_CASE("arrow keys go from plate to plate on the sphere", "[page]") {
    const Report report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    chromium.run("document.getElementById('sheet').focus()");
    chromium.key("ArrowRight");
    CHECK(selected(chromium) == json{0});
    chromium.key("ArrowRight");
    CHECK(selected(chromium) == json{1});
    chromium.key("ArrowDown");
    CHECK(selected(chromium) == json{8});
    chromium.key("ArrowLeft");
    CHECK(selected(chromium) == json{7});
}

TEST_CASE("the panorama turns under the finger, and says where it looks", "[page]") {
    const Report report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    const json box = viewAtRest(chromium);
    const double x = box.at("x"), y = box.at("y"), px_per_degree = box.at("h").get<double>() / 60;
    CHECK(readOut(chromium, "look-pan") == 0);

    // The picture follows the finger: to the right shows what lies left, where pan is positive.
    chromium.drag(x, y, 30 * px_per_degree, 0);
    CHECK(readOut(chromium, "look-pan") == Approx(30).margin(0.2));
    const auto green = middleColour(chromium);
    CHECK(green[1] > 200);
    CHECK(green[0] + green[2] < 100);

    chromium.drag(x, y, -60 * px_per_degree, 0);
    CHECK(readOut(chromium, "look-pan") == Approx(-30).margin(0.2));
    const auto blue = middleColour(chromium);
    CHECK(blue[2] > 200);
    CHECK(blue[0] + blue[1] < 100);

    // Down shows what lies above.
    chromium.drag(x, y - 100, 0, 25 * px_per_degree);
    chromium.drag(x, y - 100, 0, 25 * px_per_degree);
    chromium.drag(x, y - 100, 0, 25 * px_per_degree);
    CHECK(readOut(chromium, "look-tilt") == Approx(75).margin(0.3));
    const auto white = middleColour(chromium);
    CHECK(white[0] + white[1] + white[2] > 700);

    // A tap, without a drag, asks which plates see the place: here what lies 20 degrees below.
    chromium.run(
        "[...document.querySelectorAll('#look button')].find((b) => b.textContent === "
        "'To pan 0').click()");
    chromium.settle();
    chromium.tap(
        x, y + box.at("h").get<double>() / 2 * std::tan(20 / 57.29578) / std::tan(30 / 57.29578));
    CHECK(chromium.run("document.getElementById('look-here').textContent") ==
          "pan 0°, tilt \u221220°: 11");
    CHECK(selected(chromium) == json{10});
    CHECK(chromium.complaints().empty());
}

TEST_CASE("fingers choose a plate, turn the panorama and come nearer", "[page]") {
    const Report report;
    const auto& plate = report.survey.plates[10];
    Chromium& chromium = browser();
    chromium.show(report.page(), {768, 1024, false});
    Point at = onSheet(chromium, plate.pose.pan_deg, plate.pose.tilt_deg - 20);
    chromium.touch({{at.x, at.y, at.x, at.y}});
    CHECK(selected(chromium) == json{10});
    // A finger that moves on scrolls the page and chooses nothing.
    at = onSheet(chromium, plate.pose.pan_deg, plate.pose.tilt_deg - 20);
    chromium.touch({{at.x, at.y, at.x + 60, at.y - 80}});
    CHECK(selected(chromium).empty());

    const json box = viewAtRest(chromium);
    const double x = box.at("x"), y = box.at("y");
    const auto high_deg = [&] {
        return valueOf(chromium.run("document.querySelector('.wide output').textContent"));
    };
    CHECK(high_deg() == 60);
    chromium.touch({{x - 50, y, x - 100, y}, {x + 50, y, x + 100, y}});
    CHECK(high_deg() == Approx(30).margin(1));
    CHECK(readOut(chromium, "look-pan") == Approx(0).margin(0.5));
    chromium.touch({{x, y, x + box.at("h").get<double>() / 3, y}});
    CHECK(readOut(chromium, "look-pan") == Approx(high_deg() / 3).margin(0.5));
    const double before = high_deg();
    chromium.wheel(x, y, 240);
    CHECK(high_deg() == Approx(before * std::exp(0.0012 * 240)).margin(1));
    CHECK(chromium.complaints().empty());
}

TEST_CASE("without WebGL the panorama lies flat, and the page says so", "[page]") {
    const Report report;
    Chromium chromium({"--disable-3d-apis"});
    chromium.show(report.page(), {});
    CHECK(chromium.run("document.getElementById('flat-note').textContent.includes('WebGL')") ==
          true);
    CHECK(chromium.run("document.querySelector('.flat').clientWidth") > 500);
    CHECK(chromium.complaints().empty());
}

TEST_CASE("what files are called and say does the page no harm", "[page]") {
    stitch::Survey survey = smallSurvey();
    const std::vector<std::string> evil = {"<img src=x onerror=\"window.harmed=1\">.exr",
                                           "</script><script>window.harmed=1</script>",
                                           "--><script>window.harmed=1</script><!--",
                                           "\"onclick='window.harmed=1'.exr",
                                           "a\u2028b&lt;.exr",
                                           "<svg onload=window.harmed=1>"};
    for (size_t i = 0; i < evil.size(); ++i) {
        survey.plates[i].file = evil[i];
        survey.plates[i].timecode = evil[i];
        survey.findings.push_back(
            {stitch::FindingKind::focus, true, {evil[i]}, 10.0, 20.0, evil[i], evil[i]});
        survey.notes.push_back(evil[i]);
        survey.warnings.push_back(evil[i]);
        survey.stages.push_back({evil[i], 1, 0});
    }
    survey.plates[12].why = survey.verdict = evil[0] + evil[1];
    survey.plates[7].file = "not UTF-8 \xff\xfe.exr";
    const Report report(survey);
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    for (size_t i = 0; i < survey.plates.size(); ++i) {
        const std::string card =
            "document.querySelector('[data-card=\"" + std::to_string(i) + "\"]')";
        chromium.run(card + ".click()");
        if (i < evil.size())
            CHECK(chromium.run(card + ".querySelector('.file').textContent") == evil[i]);
    }
    chromium.settle();
    CHECK(chromium.run("window.harmed === undefined") == true);
    CHECK(chromium.run("document.scripts.length") == 4);
    CHECK(chromium.complaints().empty());
    // Nor where scripts do not run and the plain text is all there is.
    const std::string page = contents(report.page());
    const std::string plain =
        page.substr(page.find("<noscript>"), page.find("</noscript>") - page.find("<noscript>"));
    CHECK(plain.find("<img") == std::string::npos);
    CHECK(plain.find("<script") == std::string::npos);
}

TEST_CASE("a survey with nothing in it still makes a page", "[page]") {
    stitch::Survey survey;
    survey.command = "check";
    survey.verdict = "No plates yet";
    const Folder folder;
    io::writeReportPage(folder / "deep" / "er", stitch::surveyJson(survey), {});
    Chromium& chromium = browser();
    chromium.show(io::reportPagePath(folder / "deep" / "er"), {});
    CHECK(chromium.complaints().empty());
    CHECK(chromium.run("document.getElementById('verdict-words').textContent") == "No plates yet");
}

TEST_CASE("the page fits tablets and phones, and can be read in light and dark", "[page]") {
    const Report report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    for (const auto& [width, height] : {std::pair(1024, 768), {768, 1024}, {390, 844}})
        for (const bool dark : {false, true}) {
            chromium.resize({width, height, dark});
            chromium.settle();
            INFO(width << "x" << height << (dark ? " dark" : " light"));
            chromium.run("document.querySelector('[data-card=\"2\"]').click()");
            CHECK(chromium.run("document.documentElement.scrollWidth") <= width);
            // WCAG 2.1, relative luminance and contrast ratio; 7 is its level AAA for text.
            const json worst = chromium.run(R"((() => {
                const parse = (c) => c.match(/[\d.]+/g).map(Number);
                const light = (c) => { const [r, g, b] = parse(c).map((v) => v / 255)
                    .map((v) => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
                    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
                const ground = (e) => { for (; e; e = e.parentElement) {
                    const c = getComputedStyle(e).backgroundColor, p = parse(c);
                    if (p.length < 4 || p[3] > 0.5) return c; } return 'rgb(255,255,255)'; };
                let worst = [99, ''];
                for (const e of document.querySelectorAll('body *:not(svg):not(svg *):not(script)')) {
                    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
                    if (!e.getClientRects().length) continue;
                    const a = light(getComputedStyle(e).color), b = light(ground(e));
                    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
                    if (ratio < worst[0]) worst = [ratio, e.className + ': ' + e.textContent.slice(0, 40)];
                } return worst; })())");
            INFO(worst.dump());
            CHECK(worst.at(0) >= 7.0);
            CHECK(chromium.run("parseFloat(getComputedStyle(document.body).fontSize)") >= 17);
            CHECK(chromium.complaints().empty());
        }
}
