// A moving panorama on disk whose every frame is one even light, so that a view tells which frame
// it was made from.
#pragma once

#include <OpenImageIO/imageio.h>

#include <filesystem>
#include <vector>

#include "tests/clips_on_disk.h"

namespace plateloom::test {

/// Light of the panorama's frame.
inline float panoramaLight(int64_t number) {
    return 0.25f + 0.0078125f * float(number % 64);
}

inline void writePanoramaFrame(const std::filesystem::path& path, const ClipOnDisk& clip,
                               int64_t number, int width = 64) {
    OIIO::ImageSpec spec(width, width / 2, 4, OIIO::TypeHalf);
    spec.attribute("textureformat", "LatLong Environment");
    spec.tile_width = spec.tile_height = 16;
    if (clip.rate) {
        const int fraction[2] = {clip.rate->num, clip.rate->denom};
        spec.attribute("FramesPerSecond", OIIO::TypeRational, fraction);
    }
    if (clip.start) {
        const io::FrameRate rate = clip.rate.value_or(io::FrameRate{24, 1});
        const auto timecode = io::timecodeOf(
            io::frameNumber(*clip.start, rate) + number - clip.first, rate, clip.start->drop_frame);
        const unsigned words[2] = {io::smpteWord(timecode, clip.rate), 0};
        spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    }
    std::vector<float> data(size_t(width) * (width / 2) * 4, panoramaLight(number));
    for (size_t i = 3; i < data.size(); i += 4) data[i] = 1;
    const auto output = OIIO::ImageOutput::create(path.string());
    output->open(path.string(), spec);
    output->write_image(OIIO::TypeFloat, data.data());
    output->close();
}

inline void writeMovingPanorama(const std::string& pattern, const ClipOnDisk& clip, int64_t first,
                                int64_t last) {
    for (int64_t number = first; number <= last; ++number)
        writePanoramaFrame(io::framePath(pattern, number), clip, number);
}

}  // namespace plateloom::test
