#include "io/sample_json.h"

namespace plateloom::io {

namespace {

using Json = nlohmann::ordered_json;

// FNV-1a, 64 bits (Fowler, Noll, Vo): enough to make identifiers that the same content repeats.
uint64_t fnv1a(std::string_view text, uint64_t seed) {
    uint64_t hash = seed;
    for (const char c : text) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001b3ull;
    return hash;
}

}  // namespace

std::string urnOf(std::string_view content) {
    uint64_t high = fnv1a(content, 0xcbf29ce484222325ull);
    uint64_t low = fnv1a(content, high ^ 0x9e3779b97f4a7c15ull);
    high = (high & ~0xf000ull) | 0x8000ull;
    low = (low & ~(0xc000ull << 48)) | (0x8000ull << 48);
    char text[64];
    std::snprintf(text, sizeof text, "urn:uuid:%08x-%04x-%04x-%04x-%012llx", unsigned(high >> 32),
                  unsigned(high >> 16 & 0xffff), unsigned(high & 0xffff), unsigned(low >> 48),
                  static_cast<unsigned long long>(low & 0xffffffffffffull));
    return text;
}

Json lensJson(const calib::Lens& lens) {
    const calib::Distortion& d = lens.distortion;
    std::vector<double> radial(d.radial.begin(), d.radial.end());
    while (radial.size() > 1 && radial.back() == 0) radial.pop_back();
    Json terms{{"model", d.direction == calib::DistortionDirection::recorded_to_flat
                             ? "Brown-Conrady D-U"
                             : "Brown-Conrady U-D"},
               {"radial", radial}};
    if (d.tangential != decltype(d.tangential){}) terms["tangential"] = d.tangential;

    Json out;
    if (lens.focal_mm > 0) out["pinholeFocalLength"] = lens.focal_mm;
    out["distortion"] = Json::array({terms});
    const auto offset = [&](const char* key, const calib::Vector2d& mm) {
        if (mm != calib::Vector2d::Zero()) out[key] = {{"x", mm.x()}, {"y", mm.y()}};
    };
    offset("distortionOffset", lens.distortion_offset_mm);
    offset("projectionOffset", lens.projection_offset_mm);
    const calib::Shading& s = lens.shading;
    if (s.a1 != 0 || s.a2 != 0 || s.a3 != 0)
        out["exposureFalloff"] = {{"a1", s.a1}, {"a2", s.a2}, {"a3", s.a3}};
    const auto known = [&](const char* key, const std::optional<double>& value) {
        if (value) out[key] = *value;
    };
    known("focusDistance", lens.focus_m);
    known("fStop", lens.f_stop);
    known("tStop", lens.t_stop);
    known("entrancePupilOffset", lens.entrance_pupil_offset_m);
    return out;
}

Json sensorJson(const calib::Sensor& sensor) {
    return {{"activeSensorPhysicalDimensions",
             {{"height", sensor.height_mm}, {"width", sensor.width_mm}}},
            {"activeSensorResolution", {{"height", sensor.height_px}, {"width", sensor.width_px}}}};
}

Json rateJson(const FrameRate& rate) {
    return {{"num", rate.num}, {"denom", rate.denom}};
}

Json timecodeJson(const Timecode& timecode, const FrameRate& rate) {
    return {{"hours", timecode.hours},     {"minutes", timecode.minutes},
            {"seconds", timecode.seconds}, {"frames", timecode.frames},
            {"frameRate", rateJson(rate)}, {"dropFrame", timecode.drop_frame}};
}

std::string lineOf(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace plateloom::io
