// How fast plates are read and panoramas written: processor and wall-clock seconds, pixels a
// second. The plates carry a sensor's noise, which is what compression has to work on.
#include <OpenImageIO/imageio.h>
#include <sys/resource.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>

#include "io/panorama_file.h"
#include "io/plate_file.h"
#include "tests/program.h"

namespace fs = std::filesystem;
using namespace plateloom;

namespace {

struct Clock {
    double wall, processor;
    static Clock now() {
        rusage usage{};
        ::getrusage(RUSAGE_SELF, &usage);
        const auto seconds = [](const timeval& t) {
            return double(t.tv_sec) + 1e-6 * double(t.tv_usec);
        };
        const auto since = std::chrono::steady_clock::now().time_since_epoch();
        return {std::chrono::duration<double>(since).count(),
                seconds(usage.ru_utime) + seconds(usage.ru_stime)};
    }
};

template <typename Work>
void time(const std::string& name, double megapixels, const Work& work) {
    const Clock before = Clock::now();
    work();
    const Clock after = Clock::now();
    const double wall = after.wall - before.wall, processor = after.processor - before.processor;
    std::printf("%-28s %8.3f s  %8.3f processor s  %8.1f Mpix/s  %8.1f Mpix/processor s\n",
                name.c_str(), wall, processor, megapixels / wall, megapixels / processor);
}

io::Picture noisy(int width, int height, int channels) {
    io::Picture picture(width, height, channels, 1.0f);
    std::mt19937 random(1);
    std::normal_distribution<float> noise(0.0f, 0.02f);
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            const float light =
                0.3f + 0.2f * std::sin(float(x) * 0.01f) * std::cos(float(y) * 0.013f);
            for (int c = 0; c < std::min(channels, 3); ++c) {
                picture.at(x, y)[c] = light + std::sqrt(light) * noise(random);
            }
        }
    }
    return picture;
}

void benchReading(const fs::path& folder) {
    struct Kind {
        const char *name, *compression;
        OIIO::TypeDesc type;
        int tile;
        int orientation = 1;
    };
    constexpr int kWidth = 2048, kHeight = 1152, kTimes = 8;
    const io::Picture picture = noisy(kWidth, kHeight, 3);
    for (const Kind& kind :
         {Kind{"zip half.exr", "zip", OIIO::TypeHalf, 0},
          Kind{"none half.exr", "none", OIIO::TypeHalf, 0},
          Kind{"piz half.exr", "piz", OIIO::TypeHalf, 0},
          Kind{"dwaa half.exr", "dwaa", OIIO::TypeHalf, 0},
          Kind{"tiled zip half.exr", "zip", OIIO::TypeHalf, 64},
          Kind{"zip float.exr", "zip", OIIO::TypeFloat, 0},
          Kind{"16 bit.tif", "zip", OIIO::TypeUInt16, 0},
          Kind{"16 bit.png", "", OIIO::TypeUInt16, 0}, Kind{"8 bit.png", "", OIIO::TypeUInt8, 0},
          Kind{"8 bit.jpg", "jpeg:92", OIIO::TypeUInt8, 0},
          Kind{"8 bit turned.jpg", "jpeg:92", OIIO::TypeUInt8, 0, 6}}) {
        const fs::path path = folder / kind.name;
        OIIO::ImageSpec spec(kWidth, kHeight, 3, kind.type);
        spec.tile_width = spec.tile_height = kind.tile;
        if (*kind.compression) spec.attribute("compression", kind.compression);
        spec.attribute("Orientation", kind.orientation);
        auto out = OIIO::ImageOutput::create(path.string());
        out->open(path.string(), spec);
        out->write_image(OIIO::TypeFloat, picture.data.data());
        out->close();
        time(std::string("read ") + kind.name, 1e-6 * kWidth * kHeight * kTimes, [&] {
            for (int i = 0; i < kTimes; ++i) {
                (void)io::readPlatePixels(io::readPlateHeader(path));
            }
        });
    }
}

void benchWriting(const fs::path& folder) {
    constexpr int kWidth = 8192, kHeight = 4096, kTile = 1024;
    const io::Picture tile = noisy(kTile, kTile, 4), empty(kTile, kTile, 4);
    for (const char* name : {"half.exr", "float.exr", "half.tif"}) {
        for (const bool noise : {true, false}) {
            const bool half = std::string(name).starts_with("half");
            time(std::string("write ") + name + (noise ? " noisy" : " empty"),
                 1e-6 * kWidth * kHeight, [&] {
                     io::PanoramaWriter writer(folder / name, {kWidth, kHeight, 256, half, true},
                                               {});
                     for (int y = 0; y < kHeight; y += kTile) {
                         for (int x = 0; x < kWidth; x += kTile)
                             writer.write(x, y, noise ? tile : empty);
                     }
                     writer.finish();
                 });
        }
    }
}

}  // namespace

int main() {
    const test::Folder folder;
    benchReading(folder.path());
    benchWriting(folder.path());
}
