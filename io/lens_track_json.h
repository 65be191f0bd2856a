// OpenTrackIO samples (SMPTE RIS-OSVP; https://opentrackio.org/schema.json): one sample's fields to
// a LensSample, and a whole file of them.
//
// The names are those of versions 0.9.1 to 1.0. Earlier drafts' names are taken where their units
// are the same: lens.focalLength, distortionShift {Cx, Cy}, perspectiveShift {Px, Py}, `distortion`
// and `undistortion` as single objects, timing.frameRate, timecode.format, device for tracker.
#pragma once

#include "io/json_fields.h"
#include "io/lens_track.h"

namespace plateloom::io {

/// What the static block says; it holds for every later sample of the same source.
struct StaticBlock {
    std::optional<double> sensor_width_mm, sensor_height_mm;
    std::optional<int> sensor_width_px, sensor_height_px;
    std::optional<double> iso, shutter_deg, nominal_focal_mm;
    std::optional<FrameRate> capture_rate;
    std::string camera_name, lens_name;
    bool has_camera = false, has_lens = false;

    /// Takes over what `newer` holds.
    void update(const StaticBlock& newer);
};

struct ParsedSample {
    LensSample sample;  ///< without what the static block says
    StaticBlock statics;
    std::string source;  ///< sourceId and sourceNumber: samples of several cameras may be mixed
};

/// Throws InputError naming file, line, sample and field.
[[nodiscard]] ParsedSample readSample(const JsonFields& root);
void applyStatics(LensSample* sample, const StaticBlock& statics);

[[nodiscard]] LensTrack readLensTrackJson(const std::filesystem::path& path, std::string_view text);
[[nodiscard]] LensTrack readLensTrackCsv(const std::filesystem::path& path, std::string_view text);

/// "Brown-Conrady D-U", "brown conrady u-d", "D-U" ...; no name is D-U. nullopt for a model that is
/// none of these.
[[nodiscard]] std::optional<calib::DistortionDirection> directionOf(std::string_view model);

}  // namespace plateloom::io
