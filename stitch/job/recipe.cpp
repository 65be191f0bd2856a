#include "stitch/job/recipe.h"

#include <cstdio>
#include <system_error>

#include "io/colour.h"

namespace plateloom::stitch {

Recipe::Recipe(const std::string& what) {
    add(what);
}

void Recipe::add(const void* bytes, size_t count) {
    constexpr uint64_t kPrime = 0x100000001b3u;
    const auto* byte = static_cast<const unsigned char*>(bytes);
    for (size_t i = 0; i < count; ++i) hash_ = (hash_ ^ byte[i]) * kPrime;
}

void Recipe::add(const std::string& text) {
    const uint64_t size = text.size();
    add(&size, sizeof size);
    add(text.data(), text.size());
}

void Recipe::add(std::initializer_list<double> values) {
    for (const double value : values) {
        const double plain = value + 0.0;  // no negative zero
        add(&plain, sizeof plain);
    }
}

void Recipe::add(const calib::LensMap& map) {
    const auto& lens = map.lens();
    const auto& sensor = map.sensor();
    add({sensor.width_mm, sensor.height_mm, double(sensor.width_px), double(sensor.height_px),
         lens.focal_mm, double(int(lens.distortion.direction)), lens.distortion_offset_mm.x(),
         lens.distortion_offset_mm.y(), lens.projection_offset_mm.x(),
         lens.projection_offset_mm.y(), lens.shading.a1, lens.shading.a2, lens.shading.a3});
    for (const double term : lens.distortion.radial) add({term});
    for (const double term : lens.distortion.tangential) add({term});
}

void Recipe::addFile(const std::filesystem::path& path) {
    std::error_code none;
    add(std::filesystem::absolute(path, none).string());
    const auto size = std::filesystem::file_size(path, none);
    add(&size, sizeof size);
    const auto changed = std::filesystem::last_write_time(path, none).time_since_epoch().count();
    add(&changed, sizeof changed);
}

void Recipe::addPlate(const io::PlateFile& plate) {
    addFile(plate.path);
    if (plate.movie_frame > 0) add({double(plate.movie_frame)});
    addConversion(plate.colour_space);
    if (plate.to_working)
        for (const float value : *plate.to_working) add({double(value)});
}

void Recipe::addConversion(const std::string& colour_space) {
    add(colour_space);
    add(io::conversionDigest(colour_space));
}

std::string Recipe::text() const {
    char digits[17];
    std::snprintf(digits, sizeof digits, "%016llx", static_cast<unsigned long long>(hash_));
    return digits;
}

}  // namespace plateloom::stitch
