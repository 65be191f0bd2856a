// What a take's solve puts on disk: clips in the solve file, the seams' pictures, the shake's
// track.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/seam_pictures.h"
#include "io/shake_track.h"
#include "io/solve_file.h"

using namespace plateloom;

namespace {

std::filesystem::path folderOf(const char* name) {
    const auto folder = std::filesystem::temp_directory_path() / name;
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    return folder;
}

io::SolvedPlate clipLine() {
    io::SolvedPlate line;
    line.file = "cam2.####.exr";
    line.placed = true;
    line.placed_by = "ties";
    line.pose = {36.1234567890123, -1.0 / 3, 0.25};
    line.lens.focal_mm = 28;
    line.sensor = {36, 20.25, 2048, 1152};
    io::SolvedClip clip;
    clip.first = 1001;
    clip.last = 1048;
    clip.ahead = -37;
    clip.knocked = {{1023, {36.3, 0.1, 0.2}}};
    clip.pupil_m = calib::Vector3d(0.1 / 3, 0.2, -0.01);
    clip.gains = {{1001, {1, 1.0 / 3, 1}}, {1040, {0.9, 0.8, 0.7}}};
    clip.known_stops = -3.2 / 7;
    clip.focal_scale = 1.0001;
    clip.shading_found = true;
    clip.overlaps = {{"cam3.####.exr",
                      1 / 12.5,
                      calib::Vector3d(0.6, 0.8, 0),
                      431,
                      0.1 / 7,
                      1 / 3.7,
                      0.0,
                      {{0, 2.2 / 3}, {1 / 12.5, 0.1 / 3}}}};
    clip.knocks = {{1023, {0.1 / 3, -0.2, 0.01}}, {1041, {0.3, 0, 0}}};
    clip.seam_moves = {{1017, "something crosses cam2 | cam3"}};
    clip.shake_unknown = {{1004, 1006}};
    clip.steady = "lock";
    clip.seams = {1001, 1017};
    clip.black = {{1010, 1012}, {1030, 1030}};
    clip.typical_light = 0.0123;
    line.clip = clip;
    return line;
}

void rewrite(const std::filesystem::path& path, const std::string& from, const std::string& to) {
    std::ifstream in(path);
    std::string text{std::istreambuf_iterator<char>(in), {}};
    const size_t at = text.find(from);
    REQUIRE(at != std::string::npos);
    text.replace(at, from.size(), to);
    std::ofstream(path) << text;
}

}  // namespace

TEST_CASE("A clip's line read back is what was written, to the last bit") {
    const auto path = folderOf("plateloom_take_files") / "mount.jsonl";
    io::writeSolve(path, {clipLine()});
    const auto read = io::readSolve(path);
    REQUIRE(read.size() == 1);
    REQUIRE(read[0].clip.has_value());
    const io::SolvedPlate line = clipLine();
    const auto &was = *line.clip, &is = *read[0].clip;
    CHECK(is.first == was.first);
    CHECK(is.last == was.last);
    CHECK(is.ahead == was.ahead);
    REQUIRE(is.knocked.size() == 1);
    CHECK(is.knocked[0].from_frame == 1023);
    CHECK(is.knocked[0].pose.pan_deg == was.knocked[0].pose.pan_deg);
    CHECK(*is.pupil_m == *was.pupil_m);
    REQUIRE(is.gains.size() == 2);
    CHECK(is.gains[1].frame == 1040);
    CHECK(is.gains[0].gain == was.gains[0].gain);
    CHECK(*is.known_stops == *was.known_stops);
    CHECK(is.focal_scale == was.focal_scale);
    CHECK_FALSE(is.distortion_found);
    CHECK(is.shading_found);
    REQUIRE(is.overlaps.size() == 1);
    CHECK(is.overlaps[0].with == "cam3.####.exr");
    CHECK(is.overlaps[0].inverse_m == was.overlaps[0].inverse_m);
    CHECK(is.overlaps[0].ties == 431);
    CHECK(is.overlaps[0].apart_m == was.overlaps[0].apart_m);
    CHECK(is.overlaps[0].nearest_inverse_m == was.overlaps[0].nearest_inverse_m);
    CHECK(is.overlaps[0].farthest_inverse_m == was.overlaps[0].farthest_inverse_m);
    REQUIRE(is.overlaps[0].left.size() == 2);
    CHECK(is.overlaps[0].left[1].inverse_m == was.overlaps[0].left[1].inverse_m);
    CHECK(is.overlaps[0].left[1].parallax_px == was.overlaps[0].left[1].parallax_px);
    REQUIRE(is.knocks.size() == 2);
    CHECK(is.knocks[1].frame == 1041);
    CHECK(is.knocks[0].turn.pan_deg == was.knocks[0].turn.pan_deg);
    REQUIRE(is.seam_moves.size() == 1);
    CHECK(is.seam_moves[0].frame == 1017);
    CHECK(is.seam_moves[0].why == was.seam_moves[0].why);
    CHECK(is.shake_unknown == was.shake_unknown);
    CHECK(is.steady == "lock");
    CHECK(is.seams == was.seams);
    CHECK(is.black == was.black);
    CHECK(is.typical_light == was.typical_light);
}

TEST_CASE("A clip's line that contradicts itself is refused with its field") {
    const auto path = folderOf("plateloom_take_files") / "mount.jsonl";
    const auto refused = [&](const std::string& from, const std::string& to, const char* field) {
        io::writeSolve(path, {clipLine()});
        rewrite(path, from, to);
        CHECK_THROWS_WITH(io::readSolve(path),
                          Catch::Contains("mount.jsonl:1") && Catch::Contains(field));
    };
    refused("\"last\":1048", "\"last\":900", "last");
    refused("\"steady\":\"lock\"", "\"steady\":\"sometimes\"", "steady");
    refused("\"frame\":1040", "\"frame\":1000", "frame");
    refused("\"black\":[1010,1012,1030,1030]", "\"black\":[1010,1012,1030]", "black");
    refused("\"shake_unknown\":[1004,1006]", "\"shake_unknown\":[1004]", "shake_unknown");
    refused("\"black\":[1010,1012,1030,1030]", "\"black\":[1010,1e300,1030,1030]", "black");
    refused("\"ties\":431", "\"ties\":-1", "ties");
    refused("\"focal_scale\":1.0001", "\"focal_scale\":0", "focal_scale");
}

TEST_CASE("Seams come back from their pictures, old ones go at the end, new ones come together") {
    const auto folder = folderOf("plateloom_seams") / "mount.seams";
    io::Picture cameras(64, 32, 1);
    for (int x = 20; x < 64; ++x) *cameras.at(x, 5) = float(x / 20);
    io::makeFolder(folder);
    io::writeSeamPicture(folder, 1001, cameras, "a solve")->commit();
    CHECK(io::setOfSeamPicture(folder, 1001) == "a solve");
    CHECK(io::readSeamPicture(folder, 1001, 3).data == cameras.data);
    CHECK_THROWS_WITH(io::readSeamPicture(folder, 1001, 2), Catch::Contains("number of a camera"));
    CHECK_THROWS_AS(io::readSeamPicture(folder, 1002, 3), io::InputError);
    {
        const io::Picture none(64, 32, 1);
        const auto first = io::writeSeamPicture(folder, 1001, none, "");
        const auto second = io::writeSeamPicture(folder, 1005, none, "");
        CHECK(io::readSeamPicture(folder, 1001, 3).data == cameras.data);
        CHECK(io::seamPictures(folder).size() == 1);
    }
    CHECK(io::readSeamPicture(folder, 1001, 3).data == cameras.data);
    io::writeSeamPicture(folder, 1005, cameras, "")->commit();
    io::keepSeamPictures(folder, {1005});
    CHECK_FALSE(std::filesystem::exists(folder / "seams.1001.exr"));
    CHECK(io::readSeamPicture(folder, 1005, 3).data == cameras.data);
}

TEST_CASE("What was taken out is an OpenTrackIO track that any reader of lens tracks reads") {
    const auto path = folderOf("plateloom_shake") / "mount.shake.jsonl";
    const io::FrameRate rate{24000, 1001};
    std::vector<io::ShakeSample> written;
    for (int i = 0; i < 5; ++i)
        written.push_back(
            {1001 + i, io::timecodeOf(86400 + i, rate, false), {0.1 / 3 * i, -0.2, 0.01}, ""});
    io::writeShakeTrack(path, written, rate);
    const auto read = io::readShakeTrack(path);
    REQUIRE(read.size() == 5);
    CHECK(read[3].frame == 1004);
    CHECK(read[3].turn.pan_deg == written[3].turn.pan_deg);
    CHECK(read[3].timecode == written[3].timecode);
    const auto track = io::readLensTrack(path);
    REQUIRE(track.samples.size() == 5);
    REQUIRE(track.samples[2].pose.has_value());
    CHECK(track.samples[2].pose->tilt_deg == written[2].turn.tilt_deg);
    rewrite(path, "\"frame\":1003", "\"frame\":1001");
    CHECK_THROWS_WITH(io::readShakeTrack(path), Catch::Contains(":3") && Catch::Contains("frame"));
}

TEST_CASE("What clips did by themselves are sources of their own in the track") {
    const auto path = folderOf("plateloom_own_shake") / "mount.shake.jsonl";
    const io::FrameRate rate{25, 1};
    std::vector<io::ShakeSample> written;
    for (int i = 0; i < 3; ++i)
        for (int clip = 0; clip < 2; ++clip)
            written.push_back({1001 + i,
                               io::timecodeOf(90000 * clip + i, rate, false),
                               {0.1 * i, 0.2 * clip, 0},
                               clip == 0 ? "a.####.exr" : "b.####.exr"});
    io::writeShakeTrack(path, written, rate);
    const auto read = io::readShakeTrack(path);
    REQUIRE(read.size() == 6);
    CHECK(read[2].clip == "a.####.exr");
    CHECK(read[3].clip == "b.####.exr");
    CHECK(read[3].frame == 1002);
    CHECK(read[3].turn.tilt_deg == 0.2);
    CHECK(read[3].timecode == written[3].timecode);
    // One frame twice of one source is a fault, of two it is not.
    rewrite(path, "\"frame\":1003,\"clip\":\"b", "\"frame\":1002,\"clip\":\"b");
    CHECK_THROWS_WITH(io::readShakeTrack(path), Catch::Contains(":6") && Catch::Contains("frame"));
}
