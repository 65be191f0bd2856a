#include "io/frame_glance.h"

#include <algorithm>
#include <cstring>
#include <vector>

#include "io/input_error.h"
#include "io/picture_source.h"
#include "io/plate_rows.h"

namespace plateloom::io {

namespace {

// What OpenEXR's common codecs compress together.
constexpr int kGlanceRows = 32;

struct Strip {
    int begin = 0, end = 0;
};

// A quarter, half and three quarters of the way down, from where the file's own blocks begin.
std::vector<Strip> stripsOf(const OIIO::ImageSpec& spec) {
    const int block = spec.tile_width ? spec.tile_height : kGlanceRows;
    std::vector<Strip> strips;
    for (int quarter = 1; quarter <= 3; ++quarter) {
        const int row = spec.height * quarter / 4 / block * block;
        if (!strips.empty() && spec.y + row <= strips.back().begin) continue;
        strips.push_back({spec.y + row, spec.y + std::min(row + block, spec.height)});
    }
    return strips;
}

bool readStrip(const PlateFile& file, const PictureSource& source, const Strip& strip,
               const ChannelSpan& span, OIIO::TypeDesc type, char* samples) {
    const OIIO::ImageSpec& spec = source.spec;
    const int end = span.first + span.count;
    const bool read = spec.tile_width
                          ? source.input->read_tiles(source.part, 0, spec.x, spec.x + spec.width,
                                                     strip.begin, strip.end, spec.z, spec.z + 1,
                                                     span.first, end, type, samples)
                          : source.input->read_scanlines(source.part, 0, strip.begin, strip.end,
                                                         spec.z, span.first, end, type, samples);
    if (read && !source.input->has_error()) return true;
    throwIfNoMemory(file.path, source.input->geterror());
    return false;
}

}  // namespace

FrameGlance glanceAt(const PlateFile& file) {
    constexpr uint64_t kPrime = 0x100000001b3u;
    const PictureSource source = openPlate(file);
    RowConverter rows(source, file.colour_space, true, false);
    const size_t pixel_bytes = rows.readAs().size() * size_t(rows.span().count);
    FrameGlance glance;
    double sum = 0, count = 0;
    uint64_t hash = 0xcbf29ce484222325u;
    std::vector<char> samples;
    std::vector<float> rgba(4 * size_t(source.spec.width));
    for (const Strip& strip : stripsOf(source.spec)) {
        const size_t row_bytes = pixel_bytes * size_t(source.spec.width);
        samples.assign(row_bytes * size_t(strip.end - strip.begin), 0);
        if (!readStrip(file, source, strip, rows.span(), rows.readAs(), samples.data()))
            throw InputError(file.where(), "is damaged or cut short: rows " +
                                               std::to_string(strip.begin) + " to " +
                                               std::to_string(strip.end - 1) +
                                               " can't be read; copy the file again");
        for (size_t at = 0; at < samples.size(); at += sizeof hash) {
            uint64_t word = 0;
            std::memcpy(&word, &samples[at], std::min(sizeof word, samples.size() - at));
            hash = (hash ^ word) * kPrime;
        }
        for (size_t row = 0; row * row_bytes < samples.size(); ++row) {
            bool covered = false;
            (void)rows.toFloats(&samples[row * row_bytes], size_t(source.spec.width), rgba.data(),
                                covered);
            for (size_t i = 0; i < rgba.size(); i += 4) {
                sum += double(rgba[i]) + rgba[i + 1] + rgba[i + 2];
                count += 3 * double(rgba[i + 3]);
            }
        }
    }
    glance.light = count > 0 ? sum / count : 0;
    glance.fingerprint = hash;
    return glance;
}

}  // namespace plateloom::io
