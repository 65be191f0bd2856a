#include "tests/pages/chromium.h"
#include "tests/pages/small_take.h"
#include "tests/pages/take_figures.h"
#include "tests/take_on_disk.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

Chromium& browser() {
    static Chromium chromium;
    return chromium;
}

struct TakeReport {
    Folder folder;
    stitch::TakeSurvey survey;
    json figures;

    explicit TakeReport(stitch::TakeSurvey of = smallTake(), const std::string& preview = "")
        : survey(std::move(of)), figures(takeJson(survey)) {
        auto pictures = picturesFor(survey);
        pictures.preview = preview;
        io::writeTakePage(folder / "report", figures, pictures);
    }
    [[nodiscard]] std::filesystem::path page() const {
        return io::reportPagePath(folder / "report");
    }
    void put(const std::string& name, float light) const {
        std::filesystem::create_directories((folder / name).parent_path());
        test::put(folder / name, io::jpegOf(io::Picture(128, 64, 3, light), 90));
    }
};

json count(Chromium& chromium, const std::string& selector) {
    return chromium.run("document.querySelectorAll('" + selector + "').length");
}
std::string textOf(Chromium& chromium, const std::string& selector) {
    return chromium.run("document.querySelector('" + selector + "').textContent");
}
bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}
// Waits for the picture in the box, or for what stands there in its place.
json pictureShown(Chromium& chromium) {
    return chromium.run(
        "new Promise((done) => { let left = 100; const look = () => { const image = "
        "document.querySelector('#screen img'); const note = "
        "document.querySelector('.no-picture').textContent; if (note || (image.complete && "
        "image.naturalWidth > 0) || !left--) done({note, hidden: image.hidden, wide: "
        "image.naturalWidth, from: image.src.slice(0, 5)}); else setTimeout(look, 20); }; "
        "setTimeout(look, 60); })");
}
void chooseFrame(Chromium& chromium, int frame) {
    chromium.run("(() => { const s = document.getElementById('slider'); s.value = " +
                 std::to_string(frame) + "; s.dispatchEvent(new Event('input')); })()");
}
json sticksOut(Chromium& chromium) {
    return chromium.run(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth");
}

}  // namespace

TEST_CASE("a take's page opens offline, asks for nothing and complains of nothing",
          "[page][take_page]") {
    const TakeReport report;
    Chromium& chromium = browser();
    for (const int width : {1280, 820, 390}) {
        chromium.show(report.page(), {width, 1024, width == 390});
        CHECK(chromium.complaints().empty());
        CHECK(chromium.requests().size() == 1);
        CHECK(sticksOut(chromium) == 0);
    }
    CHECK(textOf(chromium, "#verdict-words") == report.survey.verdict);
}

TEST_CASE("every figure on a take's page is the survey's", "[page][take_page]") {
    const TakeReport report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    CHECK(takeFigures(chromium, report.figures) > 60);
    chromium.run("document.querySelector('[data-unit=px]').click()");
    CHECK(takeFigures(chromium, report.figures) > 60);
    // What is said in the first line: made, kept, missing, to look at.
    const std::string facts = textOf(chromium, ".facts");
    for (const char* fact : {"20 frames made", "19 kept", "1 missing", "20 frames to look at",
                             "2 of 3 cameras in place"})
        CHECK(has(facts, fact));
    CHECK(count(chromium, "#mount [data-camera]") == 3);
    CHECK(has(textOf(chromium, "#mount"), "too little to tie to"));
    CHECK(count(chromium, "#costs tbody tr") == 2);
    CHECK(count(chromium, "#light figure") == 3);
    CHECK(count(chromium, "#distance figure") == 1);
}

TEST_CASE("a take's page tells what is grave first, and leads to its frames", "[page][take_page]") {
    const TakeReport report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    const json grave = chromium.run(
        "[...document.querySelectorAll('.finding')].map((e) => e.classList.contains('grave'))");
    CHECK(grave == json{true, true, false});
    // The worst frame is the one that is seen first.
    CHECK(has(textOf(chromium, "#frame-words"), "1025 · 10:00:01:00"));
    chromium.run(
        "document.querySelector('.finding[data-kind=missing_plate] [data-frame]').click()");
    CHECK(has(textOf(chromium, "#frame-words"), "Frame 1005"));
    CHECK(has(textOf(chromium, "#frame-state"), "cam1 is missing"));
}

TEST_CASE("a clip's strip shows each frame in its place", "[page][take_page]") {
    const TakeReport report;
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    const auto share = [&](int camera, const char* style) {
        return chromium.run(
            "(() => { const svg = document.querySelector('#time .clip-time[data-"
            "camera=\"" +
            std::to_string(camera) +
            "\"] .strip'); const all = "
            "svg.querySelector('.there, .unused'), one = svg.querySelector('." +
            style +
            "'); const n = (e, a) => +e.getAttribute(a); return one ? [(n(one, 'x') "
            "- n(all, 'x')) / n(all, 'width'), n(one, 'width') / n(all, 'width')] : "
            "null; })()");
    };
    const auto near = [](const json& pair, double at, double wide) {
        INFO(pair.dump());
        CHECK(pair.at(0).get<double>() == Approx(at).margin(2e-3));
        CHECK(pair.at(1).get<double>() == Approx(wide).margin(2e-3));
    };
    near(share(0, "missing"), 4 / 40.0, 4 / 40.0);
    near(share(0, "doubled"), 29 / 40.0, 1 / 40.0);
    near(share(1, "black"), 19 / 40.0, 2 / 40.0);
    CHECK(share(1, "missing").is_null());
    CHECK(count(chromium, "#time [data-camera=\"1\"] .knock") == 1);
    // The iris that moves is drawn; what stands still is said.
    CHECK(count(chromium, "#time [data-camera=\"1\"] svg.diagram:not(.strip)") == 1);
    CHECK(count(chromium, "#time [data-camera=\"0\"] svg.diagram:not(.strip)") == 0);
    CHECK(has(textOf(chromium, "#time [data-camera=\"0\"]"), "T2.80 all the time"));
    // A tap on it chooses the frame there.
    const json box = chromium.run(
        "(() => { const s = document.querySelector('#time .clip-time[data-camera=\"0\"] .strip'); "
        "s.scrollIntoView({block: 'center', behavior: 'instant'}); const b = "
        "s.querySelector('.there').getBoundingClientRect(); return [b.left, b.top, b.width, "
        "b.height]; })()");
    chromium.tap(box[0].get<double>() + box[2].get<double>() * 31.5 / 40,
                 box[1].get<double>() + box[3].get<double>() / 2);
    CHECK(has(textOf(chromium, "#frame-words"), "Frame 1032"));
    CHECK(has(textOf(chromium, "#frame-state"), "eams are on their way"));
}

TEST_CASE("previews beside the page are stepped through; one that is missing is told of",
          "[page][take_page]") {
    const std::string folder = "a # 100% <b>&'\" folder";
    const TakeReport report(smallTake(), "../" + folder + "/pano.####.jpg");
    for (const int frame : {1002, 1003, 1025})
        report.put(folder + "/pano." + std::to_string(frame) + ".jpg", 0.5f);
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    CHECK(pictureShown(chromium).at("from") == "file:");
    chooseFrame(chromium, 1002);
    CHECK(pictureShown(chromium).at("wide") == 128);
    chromium.run("document.querySelector('[aria-label=\"Frame after\"]').click()");
    CHECK(has(textOf(chromium, "#frame-words"), "Frame 1003"));
    CHECK(pictureShown(chromium).at("wide") == 128);
    CHECK(chromium.complaints().empty());
    // Missing, but one that travels in the page.
    chooseFrame(chromium, 1021);
    CHECK(pictureShown(chromium).at("wide") == 96);
    // Missing altogether.
    chooseFrame(chromium, 1010);
    const json none = pictureShown(chromium);
    CHECK(none.at("hidden") == true);
    CHECK(has(none.at("note"), "No picture of frame 1010"));
    CHECK(has(none.at("note"), folder));
    CHECK(count(chromium, "b > b, .no-picture b") == 0);
}

TEST_CASE("what comes from files stays text on a take's page", "[page][take_page]") {
    auto survey = smallTake();
    const std::string name = "<img src=x onerror=alert(1)></script><b>cam\xff";
    survey.cameras[0].name = name;
    survey.cameras[0].file = name + ".####.exr";
    survey.cameras[0].lens_source = "<script>alert(1)</script>";
    survey.findings[1].plates = {name};
    survey.findings[1].text = name + " has no frames 1005-1008";
    survey.seams[0].why = "something crosses " + name + " | cam2";
    survey.frames->output = "/job/<i>out</i>/pano.####.exr";
    survey.verdict = "Look at it: " + survey.findings[1].text;
    survey.notes = {"<b>note</b>"};
    const TakeReport report(survey);
    Chromium& chromium = browser();
    chromium.show(report.page(), {});
    CHECK(chromium.complaints().empty());
    CHECK(count(chromium, "img") == 1);
    CHECK(count(chromium, "i, script:not([type]) ~ script") == 0);
    CHECK(has(textOf(chromium, "#time"), "<img src=x onerror=alert(1)></script><b>cam\uFFFD"));
    CHECK(has(textOf(chromium, "#frames"), "<i>out</i>"));
}

TEST_CASE("a take of one camera, without shake, stands on a page too", "[page][take_page]") {
    auto survey = smallTake();
    survey.command = "solve";
    survey.cameras.resize(1);
    survey.cameras[0].missing.clear();
    survey.cameras[0].doubled.clear();
    survey.shakes.clear();
    survey.seams.clear();
    survey.overlaps.clear();
    survey.findings.clear();
    survey.frames.reset();
    survey.verdict = "The take is solved";
    for (const int64_t last : {1040, 1001}) {
        survey.last = last;
        survey.pictures = {{1001, "first", ""}};
        const TakeReport report(survey);
        Chromium& chromium = browser();
        chromium.show(report.page(), {});
        CHECK(chromium.complaints().empty());
        CHECK(takeFigures(chromium, report.figures) > 8);
        CHECK(has(textOf(chromium, ".count"), "Nothing to look at"));
        CHECK(has(textOf(chromium, "#distance"), "One camera has no overlap"));
        CHECK(has(textOf(chromium, "#shake"), "stays in"));
        CHECK(count(chromium, "#frames") == 0);
    }
}

TEST_CASE("the page of a long take stays small", "[page][take_page]") {
    auto survey = smallTake();
    survey.last = survey.take_last = 1001 + 1439;
    survey.frames->each.clear();
    survey.frames->there.assign(1440, 1);
    survey.frames->bytes.assign(1440, 31234567);
    survey.shakes[0].turn.clear();
    for (int i = 0; i < 1440; ++i) {
        survey.frames->each.push_back({1001 + i, false, {}});
        for (const char* stage : {"read", "seams", "compose", "write"})
            survey.frames->each.back().times.push_back({stage, 1.2345678 + 0.0001 * i, 1e6});
        survey.shakes[0].turn.push_back({0.1234567 * std::sin(i), 0.1 * std::cos(i), 0.01});
        for (auto& camera : survey.cameras) {
            camera.focus_m.emplace_back(1002 + i, 3 + 0.0123456 * i);
            camera.gain_stops.emplace_back(1002 + i, std::sin(0.01 * i));
        }
    }
    const TakeReport report(survey);
    CHECK(std::filesystem::file_size(report.page()) < 1'000'000);
    Chromium& chromium = browser();
    chromium.show(report.page(), {820, 1180, false});
    CHECK(chromium.complaints().empty());
    CHECK(sticksOut(chromium) == 0);
}

TEST_CASE("solve and stitch of clips write a page of what they found",
          "[page][take_page][report]") {
    auto settings = smallArray();
    settings.frames = 6;
    settings.missing = {{2, 1004, 1004}};
    const Filmed filmed(settings);
    std::string job = " --clips array", clips;
    for (int c = 1; c <= 3; ++c) {
        const std::string name = "cam" + std::to_string(c);
        clips += " " + quoted(filmed.folder / (name + ".####.exr"));
        job += " --lens " + quoted(filmed.folder / (name + ".jsonl"));
    }
    job = clips + job;
    const auto page = [&](const char* name) { return filmed.folder / name; };
    const std::string solve = quoted(filmed.folder / "mount.jsonl");
    const std::string stitch = "stitch" + job + " --json --width 512 --solve " + solve + " -o " +
                               quoted(filmed.folder / "out/pano.####.exr") + " --report ";
    Chromium& chromium = browser();
    const auto surveyOn = [&](const char* name) {
        chromium.show(page(name) / "index.html", {});
        CHECK(chromium.complaints().empty());
        json survey = chromium.run("JSON.parse(document.getElementById('survey').textContent)");
        CHECK(takeFigures(chromium, survey) > 20);
        return survey;
    };

    const auto solved = run("solve" + job + " --steady lock --json -o " + solve + " --report " +
                            quoted(page("of solve")));
    INFO(solved.err);
    REQUIRE(solved.status == 1);
    CHECK(has(solved.err, "of solve/index.html"));
    const json summary = json::parse(solved.out), of_solve = surveyOn("of solve");
    CHECK(of_solve.at("command") == "solve");
    CHECK(of_solve.at("status") == 1);
    REQUIRE(of_solve.at("cameras").size() == 3);
    for (size_t c = 0; c < 3; ++c) {
        const json &told = summary.at("cameras")[c], &shown = of_solve.at("cameras")[c];
        CHECK(shown.at("ties") == told.at("ties"));
        CHECK(shown.at("rms_px") == told.at("rms_px"));
        CHECK(shown.at("pan_deg") == told.at("stands")[0].at("pan_deg"));
    }
    CHECK(of_solve.at("cameras")[1].at("missing") == json{{1004, 1004}});
    CHECK(of_solve.at("findings")[0].at("kind") == "missing_plate");
    CHECK(of_solve.at("pictures").back() ==
          json{{"frame", 1004}, {"what", "worst"}, {"why", of_solve.at("findings")[0].at("text")}});
    CHECK(count(chromium, "#pictures-shown [data-picture]") == 4);
    CHECK(of_solve.at("frames").is_null());

    // A chunk tells of its own frames.
    const auto part = run(stitch + quoted(page("of part")) + " --chunk 1/3");
    INFO(part.err);
    REQUIRE(part.status == 1);
    const json of_part = surveyOn("of part");
    CHECK(of_part.at("first") == 1001);
    CHECK(of_part.at("last") == 1002);
    CHECK(of_part.at("findings").empty());
    CHECK(of_part.at("frames").at("states") == "mm");
    CHECK(of_part.at("frames").at("others") == 4);
    CHECK(of_part.at("frames").at("others_there") == 0);

    // A last run that keeps what is there tells of all.
    REQUIRE(run(stitch + quoted(page("of rest")) + " --resume --frames 1003-1006").status == 1);
    std::filesystem::remove(filmed.folder / "out/pano.1005.exr");
    const auto whole = run(stitch + quoted(page("of whole")) + " --resume");
    INFO(whole.err);
    REQUIRE(whole.status == 1);
    const json of_whole = surveyOn("of whole");
    CHECK(of_whole.at("count") == 6);
    CHECK(of_whole.at("frames").at("states") == "kkkkmk");
    CHECK(of_whole.at("frames").at("kept") == json::parse(whole.out).at("kept"));
    CHECK(of_whole.at("width") == 512);
    // What the solve found is told as it was told then.
    for (const char* field : {"ties", "rms_px", "placed", "missing", "lens_source"})
        for (size_t c = 0; c < 3; ++c)
            CHECK(of_whole.at("cameras")[c].at(field) == of_solve.at("cameras")[c].at(field));
    for (const char* field : {"frame", "why", "places"})
        for (size_t i = 0; i < of_solve.at("seams").size(); ++i)
            CHECK(of_whole.at("seams")[i].at(field) == of_solve.at("seams")[i].at(field));
    // The previews that stitch made beside its frames are the ones that are shown.
    CHECK(pictureShown(chromium).at("from") == "file:");
    chooseFrame(chromium, 1003);
    CHECK(pictureShown(chromium).at("wide") == 512);

    put(filmed.folder / "taken", "a file");
    const auto refused = run("solve" + job + " -o " + quoted(filmed.folder / "other.jsonl") +
                             " --report " + quoted(filmed.folder / "taken"));
    CHECK(refused.status == 4);
    CHECK_FALSE(std::filesystem::exists(filmed.folder / "other.jsonl"));
}
