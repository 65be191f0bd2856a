#include "stitch/survey/clip_study.h"

#include <catch2/catch.hpp>

#include "io/clip.h"
#include "tests/clips_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using test::Folder;

TEST_CASE("Black is what has no light beside its neighbours, not a scene that is dark") {
    std::vector<double> light(100, 0.2);
    CHECK(blackOnes(light).empty());
    light[40] = light[41] = 0.001;
    CHECK(blackOnes(light) == std::vector<size_t>{40, 41});
    light[41] = 0.2 / 60;  // nearly six stops down
    CHECK(blackOnes(light) == std::vector<size_t>{40});
    // Half of the take at night.
    for (size_t i = 50; i < 100; ++i) light[i] = 1e-6;
    light[40] = light[41] = 0.2;
    CHECK(blackOnes(light).empty());
    CHECK(blackOnes(std::vector<double>(20, 0.0)).empty());
    CHECK(blackOnes({}).empty());
}

TEST_CASE("A clip's frozen, black and damaged frames are found, whatever the format") {
    const Folder folder;
    const bool movie = GENERATE(false, true);
    std::string name;
    if (movie) {
        name = (folder / "cam1.avi").string();
        test::writeMovie(name, 64, 36, 30, {24, 1}, "", [](int frame, int x, int y, int c) {
            if (frame == 20 || frame == 21) return 0;
            return test::movieCode(frame == 11 ? 10 : frame, x, y, c) / 2 + 60;
        });
    } else {
        test::writeClip(folder.path(), "cam1", {}, 1, 30);
        name = (folder / "cam1.####.exr").string();
        test::writeClipFrame(io::framePath(name, 12), {}, 12, 0.111f);
        for (int n : {21, 22}) test::writeClipFrame(io::framePath(name, n), {}, n, 0.0f);
        std::filesystem::resize_file(io::framePath(name, 27), 500);
    }
    const io::Clip clip = io::findClips({name}, {}, "").clips.front();
    const ClipStudy study = studyClip(clip, 1, 30);
    CHECK(study.frozen == std::vector<int64_t>{12});
    CHECK(study.black == std::vector<int64_t>{21, 22});
    if (!movie) {
        REQUIRE(study.damaged.size() == 1);
        CHECK(study.damaged[0].first == 27);
    }
    CHECK(studyClip(clip, 1, 11).frozen.empty());
}
