// OpenTrackIO (SMPTE RIS-OSVP, https://opentrackio.org/schema.json, versions 0.9.3 and 1.0.0): our
// reading of samples written by its rules, and our own samples held against those rules. The names,
// units and limits below were taken from the schema; the samples are invented.
#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <regex>
#include <set>

#include "io/lens_track.h"
#include "io/solve_file.h"

using namespace plateloom;
using nlohmann::json;

namespace {

/// A file in the temporary folder, gone with the test.
class TrackFile {
public:
    explicit TrackFile(const std::string& text)
        : path_(std::filesystem::temp_directory_path() / "plateloom_opentrackio_test.json") {
        std::ofstream(path_, std::ios::binary) << text;
    }
    ~TrackFile() { std::filesystem::remove(path_); }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

private:
    std::filesystem::path path_;
};

io::LensTrack read(const std::string& text) {
    const TrackFile file(text);
    return io::readLensTrack(file.path());
}

json rate(int num, int denom) {
    return {{"num", num}, {"denom", denom}};
}

// Every field of the schema that matters here, in the schema's units.
json fullSample() {
    json s;
    s["static"]["camera"] = {
        {"captureFrameRate", rate(24000, 1001)},
        {"activeSensorPhysicalDimensions", {{"height", 18.9}, {"width", 33.6}}},
        {"activeSensorResolution", {{"height", 2304}, {"width", 4096}}},
        {"label", "north tower"},
        {"isoSpeed", 800},
        {"shutterAngle", 172.8}};
    s["static"]["lens"] = {{"nominalFocalLength", 25.0}, {"serialNumber", "0007"}};
    s["tracker"] = {{"slate", "S014_T2"}, {"recording", true}};
    s["timing"] = {{"mode", "external"},
                   {"sampleRate", rate(24000, 1001)},
                   {"timecode",
                    {{"hours", 13},
                     {"minutes", 37},
                     {"seconds", 0},
                     {"frames", 21},
                     {"frameRate", rate(24000, 1001)},
                     {"subFrame", 1}}}};
    s["lens"] = {{"distortion",
                  {{{"model", "Brown-Conrady U-D"}, {"radial", {9.0}}, {"overscan", 1.1}},
                   {{"radial", {1e-4, 2e-4, 3e-7}}, {"tangential", {1e-5, -2e-5}}}}},
                 {"distortionOffset", {{"x", 0.01}, {"y", -0.02}}},
                 {"projectionOffset", {{"x", 0.03}, {"y", 0.04}}},
                 {"exposureFalloff", {{"a1", 2e-4}}},
                 {"entrancePupilOffset", 0.131},
                 {"fStop", 2.6},
                 {"tStop", 2.8},
                 {"pinholeFocalLength", 25.31},
                 {"focusDistance", 7.5},
                 {"encoders", {{"focus", 0.2}}},
                 {"custom", {1.5, 2.5}}};
    s["protocol"] = {{"name", "OpenTrackIO"}, {"version", {0, 9, 3}}};
    s["sourceId"] = "urn:uuid:0d0c5b3e-6f0e-4c35-9c51-2f2f8a1f7a10";
    s["sourceNumber"] = 1;
    s["transforms"] = {{{"translation", {{"x", 1.0}, {"y", 2.0}, {"z", 1.7}}},
                        {"rotation", {{"pan", 370.0}, {"tilt", -3.0}, {"roll", 0.5}}},
                        {"id", "Camera"}}};
    s["custom"] = json::array({"anything", 7});
    return s;
}

// What the schema requires of the parts that we write.
void checkAgainstSchema(const json& s) {
    const std::set<std::string> top{"static",       "timing",     "lens",
                                    "protocol",     "sampleId",   "sourceId",
                                    "sourceNumber", "transforms", "custom"};
    for (const auto& [key, value] : s.items()) CHECK(top.contains(key));
    const std::regex urn("^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$");
    CHECK(std::regex_match(s.at("sampleId").get<std::string>(), urn));
    CHECK(std::regex_match(s.at("sourceId").get<std::string>(), urn));
    CHECK(s.at("protocol").at("name") == "OpenTrackIO");
    REQUIRE(s.at("protocol").at("version").size() == 3);
    for (const auto& digit : s.at("protocol").at("version")) CHECK(digit.is_number_integer());
    for (const auto& t : s.value("transforms", json::array())) {
        CHECK(t.contains("translation"));
        CHECK(t.contains("rotation"));
    }
    const std::set<std::string> lens{"pinholeFocalLength",
                                     "distortion",
                                     "distortionOffset",
                                     "projectionOffset",
                                     "exposureFalloff",
                                     "focusDistance",
                                     "fStop",
                                     "tStop",
                                     "entrancePupilOffset"};
    for (const auto& [key, value] : s.at("lens").items()) CHECK(lens.contains(key));
    CHECK(s.at("lens").at("pinholeFocalLength") > 0);
    REQUIRE(s.at("lens").at("distortion").is_array());
    CHECK_FALSE(s.at("lens").at("distortion").at(0).at("radial").empty());
    for (const char* key : {"distortionOffset", "projectionOffset"})
        if (s.at("lens").contains(key)) CHECK(s.at("lens").at(key).size() == 2);
    if (s.at("lens").contains("exposureFalloff"))
        CHECK(s.at("lens").at("exposureFalloff").contains("a1"));
    const json& camera = s.at("static").at("camera");
    for (const char* key : {"activeSensorPhysicalDimensions", "activeSensorResolution"})
        for (const char* side : {"width", "height"}) CHECK(camera.at(key).at(side).is_number());
    CHECK(camera.at("activeSensorResolution").at("width").is_number_integer());
    if (s.contains("timing")) {
        CHECK(s.at("timing").at("mode") == "external");
        for (const char* key : {"hours", "minutes", "seconds", "frames", "frameRate"})
            CHECK(s.at("timing").at("timecode").contains(key));
    }
}

}  // namespace

TEST_CASE("A sample by the schema is read with the schema's units") {
    for (const json& version : {json{0, 9, 3}, json{1, 0, 0}}) {
        json written = fullSample();
        written["protocol"]["version"] = version;
        const auto track = read(written.dump(2));
        REQUIRE(track.samples.size() == 1);
        const io::LensSample& s = track.samples[0];
        CHECK(s.lens.focal_mm == 25.31);  // the pinhole length, not the engraved one
        CHECK_FALSE(s.focal_is_nominal);
        CHECK(s.sensor_width_mm == 33.6);
        CHECK(s.sensor_height_px == 2304);
        CHECK(s.lens.distortion.direction == calib::DistortionDirection::recorded_to_flat);
        CHECK(s.lens.distortion.radial == std::array<double, 6>{1e-4, 2e-4, 3e-7, 0, 0, 0});
        CHECK(s.lens.distortion.tangential == std::array<double, 2>{1e-5, -2e-5});
        CHECK(s.lens.distortion_offset_mm == calib::Vector2d(0.01, -0.02));
        CHECK(s.lens.projection_offset_mm == calib::Vector2d(0.03, 0.04));
        CHECK(s.lens.shading.a1 == 2e-4);
        CHECK(s.lens.shading.a2 == 0);
        CHECK(s.lens.entrance_pupil_offset_m == 0.131);
        CHECK(s.lens.focus_m == 7.5);
        CHECK(s.lens.t_stop == 2.8);
        CHECK(s.iso == 800.0);
        CHECK(s.shutter_deg == 172.8);
        CHECK(s.clip == "S014_T2");
        CHECK(s.timecode == io::Timecode{13, 37, 0, 21, false});
        CHECK(s.sub_frame == 1);
        CHECK(s.frame_rate == io::FrameRate{24000, 1001});
        CHECK(s.pose->pan_deg == 370.0);  // angles beyond a turn are allowed
        CHECK(s.translation_m == calib::Vector3d(1, 2, 1.7));
        CHECK(s.file.empty());
    }
}

TEST_CASE("Names of the drafts before 0.9.1 are understood") {
    const auto track = read(R"({"device": {"slate": "S1"}, "lens": {"focalLength": 24.3,
        "distortion": {"radial": [1e-4]}, "distortionShift": {"Cx": 0.1, "Cy": 0.2},
        "perspectiveShift": {"Px": 0.3, "Py": 0.4}},
        "protocol": "OpenTrackIO", "timing": {"frameRate": {"num": 30000, "denom": 1001},
        "timecode": {"hours": 1, "minutes": 1, "seconds": 0, "frames": 2, "format":
        {"frameRate": {"num": 30000, "denom": 1001}, "dropFrame": true}}}})");
    const io::LensSample& s = track.samples[0];
    CHECK(s.lens.focal_mm == 24.3);
    CHECK(s.lens.distortion.radial[0] == 1e-4);
    CHECK(s.lens.distortion_offset_mm == calib::Vector2d(0.1, 0.2));
    CHECK(s.lens.projection_offset_mm == calib::Vector2d(0.3, 0.4));
    CHECK(s.timecode == io::Timecode{1, 1, 0, 2, true});
    CHECK(s.clip == "S1");
}

TEST_CASE("Sources that share a file keep their own static blocks") {
    json a = fullSample(), b = fullSample();
    b["sourceNumber"] = 2;
    b["static"]["camera"]["activeSensorPhysicalDimensions"] = {{"height", 13.3}, {"width", 23.6}};
    json later_a = fullSample(), later_b = b;
    later_a.erase("static");
    later_b.erase("static");
    const auto track =
        read(a.dump() + "\n" + b.dump() + "\n" + later_a.dump() + "\n" + later_b.dump() + "\n");
    REQUIRE(track.samples.size() == 4);
    CHECK(track.samples[2].sensor_width_mm == 33.6);
    CHECK(track.samples[3].sensor_width_mm == 23.6);
}

TEST_CASE("A solve's lines keep the schema's rules") {
    io::SolvedPlate placed;
    placed.file = "a.exr";
    placed.placed = true;
    placed.placed_by = "ties";
    placed.lens.focal_mm = 24;
    placed.lens.distortion.radial = {1e-4, 0, 2e-7, 0, 0, 0};
    placed.lens.distortion.tangential = {1e-5, 0};
    placed.lens.shading = {1e-4, 0, 0};
    placed.lens.projection_offset_mm = {0.1, 0};
    placed.sensor = {36, 20.25, 2048, 1152};
    placed.frame_rate = io::FrameRate{24000, 1001};
    placed.timecode_word = io::smpteWord({1, 2, 3, 4, false});
    io::SolvedPlate left_out = placed;
    left_out.file = "b.exr";
    left_out.placed = false;
    left_out.why_not = "no tie points: bare sky";
    left_out.frame_rate.reset();

    const TrackFile file("");
    io::writeSolve(file.path(), {placed, left_out});
    std::ifstream lines(file.path());
    std::string line;
    int count = 0;
    std::set<std::string> ids;
    while (std::getline(lines, line)) {
        const json s = json::parse(line);
        checkAgainstSchema(s);
        ids.insert(s.at("sampleId").get<std::string>());
        CHECK(s.contains("transforms") == (count == 0));
        ++count;
    }
    CHECK(count == 2);
    CHECK(ids.size() == 2);
}
