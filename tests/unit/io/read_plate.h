// What the tests of plate files share: one pixel of a plate, and pictures written by OpenImageIO.
#pragma once

#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <ostream>
#include <string>
#include <vector>

#include "io/plate_file.h"

namespace plateloom::io {

struct Rgba {
    float v[4];
    bool operator==(const Rgba&) const = default;
};
inline std::ostream& operator<<(std::ostream& out, const Rgba& p) {
    return out << p.v[0] << ' ' << p.v[1] << ' ' << p.v[2] << ' ' << p.v[3];
}
inline Rgba at(const PlatePixels& pixels, int x, int y) {
    Rgba rgba{};
    pixels.read(x, y, rgba.v);
    return rgba;
}
inline PlatePixels readPlate(const std::filesystem::path& path,
                             const std::string& colour_space = "") {
    return readPlatePixels(readPlateHeader(path, colour_space));
}

/// A picture of code values (or floats), written as `spec` says.
template <typename Value>
void writeWithOiio(const std::filesystem::path& path, const OIIO::ImageSpec& spec,
                   const std::vector<Value>& values) {
    auto out = OIIO::ImageOutput::create(path.string());
    REQUIRE(out);
    REQUIRE(out->open(path.string(), spec));
    REQUIRE(out->write_image(OIIO::BaseTypeFromC<Value>::value, values.data()));
    REQUIRE(out->close());
}

}  // namespace plateloom::io
