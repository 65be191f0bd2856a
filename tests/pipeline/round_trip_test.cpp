// Flatten, then unflatten: the recorded frame again.
#include <catch2/catch.hpp>
#include <cstring>

#include "io/picture.h"
#include "tests/frames_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

constexpr int kWidth = 640, kHeight = 360;

double dB(double signal, double error) {
    return 10 * std::log10(signal / error);
}

struct Difference {
    double snr_dB = 0, worst = 0;
};

// Between two frames, `margin` pixels off the edge.
Difference difference(const ReadFrame& a, const ReadFrame& b, int margin) {
    double signal = 0, error = 0;
    Difference out;
    for (int y = margin; y < kHeight - margin; ++y)
        for (int x = margin; x < kWidth - margin; ++x)
            for (int c = 0; c < 3; ++c) {
                const double e = double(a.at(x, y, c)) - b.at(x, y, c);
                signal += (b.at(x, y, c) - 1.0) * (b.at(x, y, c) - 1.0);
                error += e * e;
                out.worst = std::max(out.worst, std::abs(e));
            }
    out.snr_dB = dB(signal, error);
    return out;
}

double recorded(double x, double y, int c) {
    return c == 3 ? 1 : lightAt(x, y, c);
}

}  // namespace

TEST_CASE("A frame flattened and unflattened is the recorded frame again") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    writeFrame(folder / "plates/shot.1001.exr", rgbaSpec(kWidth, kHeight), recorded);
    put(folder / "lens.csv", kTrackHead + trackLine("", 1001, 0));
    REQUIRE(run("flatten " + quoted(folder / "plates") + " --lens " + quoted(folder / "lens.csv") +
                " -o " + quoted(folder / "flat"))
                .status == 0);
    const auto back = run("unflatten " + quoted(folder / "flat") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "look"));
    INFO(back.err);
    REQUIRE(back.status == 0);
    const auto was = readFrame(folder / "plates/shot.1001.exr");
    const auto is = readFrame(folder / "look/shot.1001.exr");
    REQUIRE(is.spec.width == kWidth);
    REQUIRE(is.spec.nchannels == 4);
    const auto inside = difference(is, was, 8), whole = difference(is, was, 0);
    INFO("inside " << inside.snr_dB << " dB, whole frame " << whole.snr_dB << " dB");
    CHECK(inside.snr_dB > 60);
    CHECK(whole.snr_dB > 40);
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x)
            if (is.at(x, y, 3) != 1) FAIL("alpha " << is.at(x, y, 3) << " at " << x << " " << y);
}

namespace {

// A flat frame with all kinds of channels, its data window larger than the frame.
OIIO::ImageSpec compSpec() {
    OIIO::ImageSpec spec(kWidth + 80, kHeight + 60, 8, OIIO::TypeHalf);
    spec.x = -40;
    spec.y = -30;
    spec.full_width = kWidth;
    spec.full_height = kHeight;
    spec.channelnames = {"R", "G", "B", "A", "Z", "hero_matte", "objectId", "spec.R"};
    spec.channelformats = {OIIO::TypeHalf,  OIIO::TypeHalf,  OIIO::TypeHalf,   OIIO::TypeHalf,
                           OIIO::TypeFloat, OIIO::TypeFloat, OIIO::TypeUInt32, OIIO::TypeHalf};
    spec.attribute("compression", "piz");
    spec.attribute("shotName", "square 010");
    spec.attribute("shotNumber", 7);
    const int rate[2] = {24, 1};
    spec.attribute("framesPerSecond", OIIO::TypeRational, rate);
    const uint32_t words[2] = {0x01000005, 42};  // 01:00:00:05
    spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    return spec;
}

// Ids change in steps of 16 pixels: no value between two of them exists.
double compValue(double x, double y, int c) {
    const int cell = int(std::floor(x / 16)) * 100 + int(std::floor(y / 16)) + 1'000'000;
    switch (c) {
        case 3:
            return 1;
        case 4:
            return cell * 0.001;
        case 5:
            return std::floor(x / 40) / 16 - std::floor(std::floor(x / 40) / 16);
        case 6:
            return cell;
        default:
            return lightAt(x, y, c % 3);
    }
}

void writeComp(const std::filesystem::path& path) {
    const auto spec = compSpec();
    const auto output = OIIO::ImageOutput::create(path.string());
    REQUIRE(output->open(path.string(), spec));
    std::vector<char> row(size_t(spec.width) * spec.pixel_bytes(true));
    for (int y = 0; y < spec.height; ++y) {
        char* at = row.data();
        for (int x = 0; x < spec.width; ++x)
            for (int c = 0; c < spec.nchannels; ++c) {
                const double value = compValue(x + spec.x + 0.5, y + spec.y + 0.5, c);
                if (spec.channelformats[c] == OIIO::TypeUInt32) {
                    const auto whole = uint32_t(value);
                    std::memcpy(at, &whole, 4);
                } else if (spec.channelformats[c] == OIIO::TypeFloat) {
                    const auto single = float(value);
                    std::memcpy(at, &single, 4);
                } else {
                    const uint16_t half = io::halfFromFloat(float(value));
                    std::memcpy(at, &half, 2);
                }
                at += spec.channelformats[c].size();
            }
        REQUIRE(output->write_scanline(y + spec.y, 0, OIIO::TypeUnknown, row.data()));
    }
    REQUIRE(output->close());
}

}  // namespace

TEST_CASE("Every channel survives under its name and type, filtered or nearest by its kind") {
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    writeComp(folder / "flat/comp.1005.exr");
    put(folder / "lens.csv", kTrackHead + trackLine("01:00:00:05", 1005, 0));
    const auto made = run("unflatten " + quoted(folder / "flat") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "look"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    const auto frame = readFrame(folder / "look/comp.1005.exr");
    const auto& spec = frame.spec;
    REQUIRE(spec.nchannels == 8);
    CHECK(spec.width == kWidth);
    CHECK(spec.x == 0);
    CHECK(spec.get_string_attribute("compression") == "piz");
    CHECK(spec.get_string_attribute("shotName") == "square 010");
    CHECK(spec.get_int_attribute("shotNumber") == 7);
    CHECK(spec.find_attribute("smpte:TimeCode") != nullptr);
    const auto was = compSpec();
    for (int c = 0; c < 8; ++c)
        CHECK(spec.channelformat(frame.channel(was.channelnames[c])) == was.channelformats[c]);

    const calib::LensMap lens(frameLens(), {36, 20.25, kWidth, kHeight});
    std::vector<uint32_t> ids(size_t(kWidth) * kHeight);
    const auto input = OIIO::ImageInput::open((folder / "look/comp.1005.exr").string());
    const int id = frame.channel("objectId");
    REQUIRE(input->read_image(0, 0, id, id + 1, OIIO::TypeUInt32, ids.data()));
    double worst = 0, worst_spec = 0;
    int wrong_ids = 0, wrong_depths = 0;
    const int Z = frame.channel("Z"), matte = frame.channel("hero_matte"), R = frame.channel("R"),
              second = frame.channel("spec.R");
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            const calib::Vector2d px(x + 0.5, y + 0.5);
            const calib::Vector2d at = pixelFromMm(
                lens.sensor(), *lens.flatFromRecorded_mm(mmFromPixel(lens.sensor(), px)));
            const double light = lens.transmission(px);
            worst =
                std::max(worst, std::abs(frame.at(x, y, R) - light * lightAt(at.x(), at.y(), 0)));
            worst_spec = std::max(
                worst_spec, std::abs(frame.at(x, y, second) - light * lightAt(at.x(), at.y(), 1)));
            const double in_x = at.x() - std::floor(at.x()), in_y = at.y() - std::floor(at.y());
            if (std::min({in_x, 1 - in_x, in_y, 1 - in_y}) > 0.01) {
                wrong_ids += ids[size_t(y) * kWidth + x] != uint32_t(compValue(at.x(), at.y(), 6));
                wrong_depths += frame.at(x, y, Z) != float(compValue(at.x(), at.y(), 4));
            }
            const float share = frame.at(x, y, matte);
            if (!(share >= 0 && share <= 1)) FAIL("a matte of " << share);
        }
    CHECK(worst < 0.003);  // half's own step is 0.001 at 2
    CHECK(worst_spec < 0.003);
    CHECK(wrong_ids == 0);
    CHECK(wrong_depths == 0);
}

TEST_CASE(
    "Parts keep their names and channels; a flat frame without overscan leaves the rim empty") {
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    const auto path = folder / "flat/shot.1001.exr";
    std::vector<OIIO::ImageSpec> parts{rgbaSpec(kWidth, kHeight),
                                       OIIO::ImageSpec(kWidth, kHeight, 1, OIIO::TypeFloat)};
    parts[1].channelnames = {"Z"};
    parts[0].attribute("oiio:subimagename", "beauty");
    parts[1].attribute("oiio:subimagename", "depth");
    const auto output = OIIO::ImageOutput::create(path.string());
    REQUIRE(output->open(path.string(), 2, parts.data()));
    REQUIRE(output->write_image(OIIO::TypeFloat,
                                std::vector<float>(size_t(kWidth) * kHeight * 4, 0.5f).data()));
    REQUIRE(output->open(path.string(), parts[1], OIIO::ImageOutput::AppendSubimage));
    REQUIRE(output->write_image(OIIO::TypeFloat,
                                std::vector<float>(size_t(kWidth) * kHeight, 8.0f).data()));
    REQUIRE(output->close());
    put(folder / "lens.csv", kTrackHead + trackLine("", 1001, 0));
    const auto made = run("unflatten " + quoted(folder / "flat") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "look"));
    INFO(made.err);
    CHECK(made.status == 1);
    CHECK_THAT(made.err, Catch::Contains("shot.1001.exr") && Catch::Contains("%"));
    const auto beauty = readFrame(folder / "look/shot.1001.exr", 0);
    const auto depth = readFrame(folder / "look/shot.1001.exr", 1);
    CHECK(beauty.spec.get_string_attribute("oiio:subimagename") == "beauty");
    CHECK(depth.spec.get_string_attribute("oiio:subimagename") == "depth");
    REQUIRE(depth.spec.nchannels == 1);
    CHECK(beauty.at(0, 0, 3) == 0);
    CHECK(beauty.at(kWidth / 2, kHeight / 2, 3) == 0.5f);
    CHECK(depth.at(kWidth / 2, kHeight / 2, 0) == 8);
}

TEST_CASE(
    "A lens that moves has its own lens and maps for each frame; resumed, frames are the same") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    std::string track = kTrackHead;
    for (int i = 0; i < 4; ++i) {
        // Pictures that differ: a copy would be taken for a plate given twice.
        writeFrame(folder / ("plates/shot." + std::to_string(1001 + i) + ".exr"),
                   rgbaSpec(kWidth, kHeight), [&](double x, double y, int c) {
                       return c == 3 ? 1 : lightAt(x, y, c) + 0.01 * i;
                   });
        track += trackLine("", 1001 + i, i < 2 ? 0 : i);  // still for two frames, then pulled
    }
    put(folder / "lens.csv", track);
    const std::string with = " --lens " + quoted(folder / "lens.csv") + " -o ";
    REQUIRE(run("flatten " + quoted(folder / "plates") + with + quoted(folder / "flat") +
                " --uv-map " + quoted(folder / "maps"))
                .status == 0);
    for (const char* frames : {"1001-1002", "1003", "1004"})
        for (const char* map :
             {"flatten-uv", "flatten-shading", "unflatten-uv", "unflatten-shading"})
            CHECK(std::filesystem::exists(
                folder / ("maps/shot." + std::string(map) + "." + frames + ".exr")));
    const std::string job = "unflatten " + quoted(folder / "flat") + with + quoted(folder / "look");
    REQUIRE(run(job).status == 0);
    for (int i = 0; i < 4; ++i) {
        const std::string name = "shot." + std::to_string(1001 + i) + ".exr";
        CHECK(difference(readFrame(folder / "look" / name), readFrame(folder / "plates" / name), 8)
                  .snr_dB > 60);
    }
    // One frame lost, one cut short, one of another lens: they are made again, and the same.
    const auto first = contents(folder / "look/shot.1001.exr");
    const auto second = contents(folder / "look/shot.1002.exr");
    const auto third = contents(folder / "look/shot.1003.exr");
    std::filesystem::remove(folder / "look/shot.1001.exr");
    put(folder / "look/shot.1002.exr", second.substr(0, second.size() / 2));
    std::filesystem::copy_file(folder / "look/shot.1004.exr", folder / "look/shot.1003.exr",
                               std::filesystem::copy_options::overwrite_existing);
    const auto again = run(job + " --resume");
    CHECK(again.status == 0);
    CHECK_THAT(again.err, Catch::Contains("kept 1 frame") && Catch::Contains("wrote 3 frames"));
    CHECK(contents(folder / "look/shot.1001.exr") == first);
    CHECK(contents(folder / "look/shot.1002.exr") == second);
    CHECK(contents(folder / "look/shot.1003.exr") == third);
}
