// Damaged, cut-short and nonsensical picture files: each is refused in a person's words, with its
// name; none is taken for a black picture; none brings the program down.
#include <OpenImageIO/imageio.h>
#include <sys/resource.h>

#include <catch2/catch.hpp>
#include <csignal>
#include <cstring>
#include <functional>
#include <random>

#include "io/input_error.h"
#include "io/panorama_file.h"
#include "io/picture_source.h"
#include "io/plate_file.h"
#include "tests/program.h"
#include "tests/unit/io/raw_exr.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using namespace plateloom::raw_exr;
using plateloom::test::contents;
using plateloom::test::Folder;
using plateloom::test::put;

namespace {

PlatePixels readPlate(const fs::path& path) {
    return readPlatePixels(readPlateHeader(path));
}

/// What reading says when it refuses, "" when it does not.
std::string refusal(const fs::path& path) {
    try {
        (void)readPlate(path);
    } catch (const InputError& error) {
        return error.what();
    } catch (const RoomError& error) {
        return error.what();
    }
    return "";
}

// Words that only a library's author understands.
bool isForPeople(const std::string& message, const fs::path& path) {
    for (const char* inner :
         {"OpenEXR", "exception", "libpng", "TIFFRead", "Imf", "OIIO", "errno"}) {
        if (message.find(inner) != std::string::npos) return false;
    }
    return message.starts_with(path.string() + ": ") && message.find('\n') == std::string::npos;
}

struct Kind {
    const char* name;
    OIIO::TypeDesc type;
    const char* compression;
    int tile = 0;
};

const std::vector<Kind> kKinds{
    {"zip.exr", OIIO::TypeHalf, "zip"},         {"float.exr", OIIO::TypeFloat, "zips"},
    {"piz.exr", OIIO::TypeHalf, "piz"},         {"none.exr", OIIO::TypeHalf, "none"},
    {"rle.exr", OIIO::TypeHalf, "rle"},         {"b44.exr", OIIO::TypeHalf, "b44"},
    {"dwaa.exr", OIIO::TypeHalf, "dwaa"},       {"tiles.exr", OIIO::TypeHalf, "zip", 32},
    {"zip8.tif", OIIO::TypeUInt8, "zip"},       {"zip16.tif", OIIO::TypeUInt16, "zip"},
    {"float.tif", OIIO::TypeFloat, "lzw"},      {"none.tif", OIIO::TypeUInt8, "none"},
    {"tiles.tif", OIIO::TypeUInt16, "zip", 32}, {"a8.png", OIIO::TypeUInt8, ""},
    {"a16.png", OIIO::TypeUInt16, ""},          {"a.jpg", OIIO::TypeUInt8, "jpeg:95"},
    {"a10.dpx", OIIO::TypeUInt16, ""}};

/// A small noisy picture, so that every byte of the file matters.
fs::path writeSound(const Folder& folder, const Kind& kind, int width = 90, int height = 70) {
    const fs::path path = folder / kind.name;
    OIIO::ImageSpec spec(width, height, 3, kind.type);
    spec.tile_width = spec.tile_height = kind.tile;
    if (*kind.compression) spec.attribute("compression", kind.compression);
    spec.attribute("dpx:Transfer", "Linear");
    if (path.extension() == ".dpx") spec.attribute("oiio:BitsPerSample", 10);
    std::mt19937 random(11);
    std::uniform_real_distribution<float> value(0.2f, 0.9f);
    std::vector<float> values(size_t(width) * size_t(height) * 3);
    for (float& v : values) v = value(random);
    auto out = OIIO::ImageOutput::create(path.string());
    REQUIRE(out);
    REQUIRE(out->open(path.string(), spec));
    REQUIRE(out->write_image(OIIO::TypeFloat, values.data()));
    REQUIRE(out->close());
    REQUIRE(refusal(path).empty());
    return path;
}

Part onePart() {
    Part part;
    for (const char* name : {"R", "G", "B"}) {
        part.channels.push_back({name, SampleType::half, [](int, int) { return 0x3c00u; }, 1});
    }
    return part;
}

/// The limit on a file's size stands for the end of the disk: the write fails in the same place.
class FileSizeLimit {
public:
    explicit FileSizeLimit(rlim_t bytes) : signal_before_(std::signal(SIGXFSZ, SIG_IGN)) {
        ::getrlimit(RLIMIT_FSIZE, &before_);
        const rlimit limit{bytes, before_.rlim_max};
        ::setrlimit(RLIMIT_FSIZE, &limit);
    }
    ~FileSizeLimit() {
        ::setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, signal_before_);
    }
    FileSizeLimit(const FileSizeLimit&) = delete;
    FileSizeLimit& operator=(const FileSizeLimit&) = delete;

private:
    void (*signal_before_)(int);
    rlimit before_{};
};

size_t filesIn(const fs::path& folder) {
    return size_t(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

}  // namespace

TEST_CASE("What is no picture is refused by name, and says what it is") {
    const Folder folder;
    CHECK_THROWS_WITH(readPlateHeader(folder / "none.exr"), Catch::Contains("no such file"));
    CHECK_THROWS_WITH(readPlateHeader(folder.path()), Catch::Contains("folder"));
    put(folder / "empty.exr", "");
    CHECK_THROWS_WITH(readPlateHeader(folder / "empty.exr"), Catch::Contains("empty"));
    put(folder / "text.exr", "these are words");
    CHECK_THROWS_WITH(readPlateHeader(folder / "text.exr"), Catch::Contains("EXR, TIFF, DPX"));
    put(folder / "magic.exr", "\x76\x2f\x31\x01");
    CHECK_THROWS_WITH(readPlateHeader(folder / "magic.exr"), Catch::Contains("damaged"));
    // Camera raw is TIFF outside.
    put(folder / "IMG_1.raw", std::string("II*\0", 4) + std::string(100, '\0'));
    CHECK_THROWS_WITH(readPlateHeader(folder / "IMG_1.raw"), Catch::Contains("camera raw"));
}

TEST_CASE("A picture is known by its content when its name is wrong") {
    const Folder folder;
    const fs::path png = writeSound(folder, {"a.png", OIIO::TypeUInt8, ""});
    fs::rename(png, folder / "plate.exr");
    CHECK(readPlate(folder / "plate.exr").width == 90);
}

TEST_CASE("A file cut short anywhere is an error, never a picture with black rows") {
    const Folder folder;
    for (const Kind& kind : kKinds) {
        const fs::path path = writeSound(folder, kind);
        const std::string whole = contents(path);
        const fs::path cut = folder / ("cut " + std::string(kind.name));
        // Every length in the header, then steps, then the last bytes.
        std::vector<size_t> lengths;
        for (size_t n = 1; n < std::min<size_t>(whole.size(), 400); n += 7) lengths.push_back(n);
        for (size_t n = 400; n < whole.size(); n += std::max<size_t>(whole.size() / 37, 1)) {
            lengths.push_back(n);
        }
        const bool may_lack_end = path.extension() == ".tif";  // its last bytes may be padding
        for (size_t lacks = may_lack_end ? 64 : 12; lacks > 0; lacks /= 2) {
            lengths.push_back(whole.size() - lacks);
            if (may_lack_end) break;
        }
        for (const size_t length : lengths) {
            INFO(kind.name << ": " << length << " of " << whole.size() << " bytes");
            put(cut, whole.substr(0, length));
            const std::string said = refusal(cut);
            CHECK_FALSE(said.empty());
            CHECK(isForPeople(said, cut));
        }
    }
}

TEST_CASE("Bytes changed anywhere are refused or read, and never end the program") {
    const Folder folder;
    constexpr int kTries = 60;
    for (const Kind& kind : kKinds) {
        const fs::path path = writeSound(folder, kind);
        const std::string whole = contents(path);
        const fs::path changed = folder / ("changed " + std::string(kind.name));
        std::mt19937 random(5);
        for (int i = 0; i < kTries; ++i) {
            std::string bytes = whole;
            // Half of the tries hit the header.
            const size_t reach = i % 2 ? whole.size() : std::min<size_t>(whole.size(), 600);
            for (int hit = 0; hit < 1 + i % 5; ++hit) {
                bytes[random() % reach] = char(random() % 256);
            }
            INFO(kind.name << " try " << i);
            put(changed, bytes);
            const std::string said = refusal(changed);
            CHECK((said.empty() || isForPeople(said, changed)));
        }
    }
}

TEST_CASE("A DPX whose header promises more of its user's bytes than there are is refused") {
    const Folder folder;
    const fs::path path = writeSound(folder, {"a.dpx", OIIO::TypeUInt16, ""});
    std::string bytes = contents(path);
    bytes.replace(32, 4, "\xc5\x01\x02\x03");
    put(path, bytes);
    CHECK(isForPeople(refusal(path), path));
}

TEST_CASE("A tile that was never written is missed") {
    const Folder folder;
    OIIO::ImageSpec spec(96, 96, 3, OIIO::TypeHalf);
    spec.tile_width = spec.tile_height = 32;
    spec.attribute("openexr:lineOrder", "randomY");
    auto out = OIIO::ImageOutput::create("openexr");
    REQUIRE(out->open((folder / "tiles.exr").string(), spec));
    const std::vector<float> grey(32 * 32 * 3, 0.5f);
    for (int tile = 0; tile < 9; ++tile) {
        if (tile == 4) continue;
        REQUIRE(out->write_tile(tile % 3 * 32, tile / 3 * 32, 0, OIIO::TypeFloat, grey.data()));
    }
    out->close();
    CHECK(isForPeople(refusal(folder / "tiles.exr"), folder / "tiles.exr"));
}

TEST_CASE("Sizes that no plate has are refused before memory is asked for") {
    const Folder folder;
    const fs::path path = folder / "plate.exr";
    const auto refuses = [&](Box data, Box display) {
        Part part = onePart();
        part.data = {0, 0, 0, 0};
        part.display = display;
        write(path, {part});
        // The rows are written for one pixel; only the header says more.
        std::string bytes = contents(path);
        const std::string name = std::string("dataWindow") + '\0' + "box2i" + '\0';
        const size_t at = bytes.find(name) + name.size() + 4;
        std::memcpy(bytes.data() + at, &data, sizeof data);
        put(path, bytes);
        const std::string said = refusal(path);
        CHECK(isForPeople(said, path));
        return said;
    };
    constexpr int kFar = 2'000'000'000;
    CHECK_FALSE(refuses({0, 0, 200'000, 10}, {0, 0, 200'000, 10}).empty());
    CHECK_FALSE(refuses({0, 0, 10, 10}, {0, 0, 150'000, 10}).empty());
    CHECK_FALSE(refuses({-kFar, -kFar, kFar, kFar}, {0, 0, 10, 10}).empty());
    CHECK_FALSE(refuses({kFar, kFar, kFar + 10, kFar + 10}, {0, 0, 10, 10}).empty());
    CHECK_FALSE(refuses({10, 10, 0, 0}, {0, 0, 10, 10}).empty());
    CHECK_FALSE(refuses({0, 0, 90'000, 90'000}, {0, 0, 90'000, 90'000}).empty());
}

TEST_CASE("Missing memory is told apart from a damaged file") {
    // The library has one way to say both: the words of OpenEXR's exception, libjpeg's, libpng's.
    for (const char* said :
         {"Failed OpenEXR read: std::bad_alloc", "Insufficient memory (case 4)", "Out of memory"})
        CHECK_THROWS_AS(throwIfNoMemory("a.exr", said), RoomError);
    CHECK_NOTHROW(throwIfNoMemory("a.exr", "Unable to read pixel data"));
}

TEST_CASE("An EXR's header asks for no more memory than its file can hold") {
    const Folder folder;
    const fs::path path = folder / "a.exr";
    write(path, {onePart()});
    const std::string whole = contents(path);
    REQUIRE(refusal(path).empty());
    const auto changed = [&](const std::string& attribute, size_t after, uint32_t value) {
        std::string bytes = whole;
        const size_t at = bytes.find(attribute) + attribute.size() + after;
        bytes.replace(at, 4, bytesOf(value));
        put(path, bytes);
        const std::string told = refusal(path);
        CHECK_THAT(told, Catch::Contains("damaged or cut short ("));
        CHECK(isForPeople(told, path));
    };
    const std::string kWindow("dataWindow\0box2i\0", 17);
    changed(kWindow, 0, 1'600'000'000);                             // the attribute's own length
    changed(kWindow, 4 + 12, 2'000'000'000);                        // its last row
    changed(kWindow, 4 + 8, 200'000'000);                           // its last column
    changed(std::string("channels\0chlist\0", 16), 0, 0x7fffffff);  // beyond the file
    changed(std::string("channels\0chlist\0", 16), 4 + 2, 3);       // no type of samples
}

TEST_CASE("A file without channels, or with chroma at half size, is refused") {
    const Folder folder;
    const fs::path path = folder / "plate.exr";
    Part part = onePart();
    part.channels.clear();
    write(path, {part});
    CHECK(isForPeople(refusal(path), path));
    const auto flat = [](int, int) { return 0x3c00u; };
    part.channels = {{"Y", SampleType::half, flat, 1},
                     {"RY", SampleType::half, flat, 2},
                     {"BY", SampleType::half, flat, 2}};
    write(path, {part});
    CHECK_THAT(refusal(path), Catch::Contains("half size"));
}

TEST_CASE("A plate that changed its size since its header was read is refused") {
    const Folder folder;
    const fs::path path = writeSound(folder, {"a.png", OIIO::TypeUInt8, ""});
    const PlateFile file = readPlateHeader(path);
    writeSound(folder, {"a.png", OIIO::TypeUInt8, ""}, 80, 70);
    CHECK_THROWS_WITH(readPlatePixels(file), Catch::Contains("changed"));
    fs::remove(path);
    CHECK_THROWS_WITH(readPlatePixels(file), Catch::Contains("no such file"));
}

TEST_CASE("A disk without room is named, and nothing is left on it") {
    const auto saysNoRoom = [](const fs::path& folder, const std::function<void()>& job) {
        const FileSizeLimit limit(20'000);
        try {
            job();
        } catch (const RoomError& error) {
            return std::string(error.what()).starts_with(folder.string());
        }
        return false;
    };
    std::mt19937 random(1);
    std::uniform_real_distribution<float> value(0.1f, 0.9f);
    Picture noise(256, 256, 4);
    for (float& v : noise.data) v = value(random);
    for (const char* name : {"a.exr", "a.tif", "a.png", "a.jpg"}) {
        const Folder folder;
        INFO(name);
        CHECK(saysNoRoom(folder.path(), [&] { writePicture(folder / name, noise, {}, true, {}); }));
        CHECK(filesIn(folder.path()) == 0);
    }
    for (const char* name : {"a.exr", "a.tif"}) {
        const Folder folder;
        INFO(name);
        CHECK(saysNoRoom(folder.path(), [&] {
            PanoramaWriter writer(folder / name, {256, 256, 64, true, true}, {});
            writer.write(0, 0, noise);
            writer.finish();
        }));
        CHECK(filesIn(folder.path()) == 0);
    }
}
