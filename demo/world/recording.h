// What a camera and a lens leave on disk: plates, a lens track, a camera report; and, for tests,
// the truth. Written here from the standards alone, on purpose without the program's own writers,
// so that its readers meet files that they did not make.
#pragma once

#include <filesystem>

#include "world/shoot.h"

namespace plateloom::world {

/// EXR, half, zip, RGB or RGBA (associated), with framesPerSecond, chromaticities and (unless told
/// otherwise) timeCode.
void writePlateExr(const std::filesystem::path& path, const io::Picture& plate,
                   const PlannedPlate& planned, const Rate& rate, bool timecode = true);
/// With what the shoot's settings say of timecodes and of the lens in the header.
void writePlateExr(const std::filesystem::path& path, const io::Picture& plate, const Shoot& shoot,
                   const PlannedPlate& planned);

/// The same of a chart or a flat field on prep day: no timecode, but focus, T-stop, nominal focal
/// length and the sensor's size in the header.
void writePrepExr(const std::filesystem::path& path, const io::Picture& picture,
                  const calib::Lens& lens, double nominal_mm, const calib::Sensor& sensor);

/// An sRGB JPEG that says no more than a photograph does: EXIF focal length and its 35 mm
/// equivalent, aperture, exposure time, ISO.
void writePhotograph(const std::filesystem::path& path, const io::Picture& plate,
                     const PlannedPlate& planned, double sensor_width_mm);

struct TrackFormat {
    bool array = false;  ///< one JSON array; else one sample a line
    bool poses = false;  ///< pan, tilt and roll with encoder noise
    double pose_noise_deg = 0.05;
    bool static_each = false;  ///< the static block in each sample; else once, in the first
    /// Samples before and after each plate's own, as a take has; none without timecodes.
    int frames_around = 2;
    int samples_per_frame = 1;  ///< the plates of the shoot are that many samples a frame
    std::string camera = "A", serial = "0001";
    std::string slate;  ///< name of the recording; none unless given
};
/// An OpenTrackIO lens track.
void writeLensTrack(const std::filesystem::path& path, const Shoot& shoot,
                    const TrackFormat& format);

/// A camera report: file, pan_deg, tilt_deg, focal_mm, focus_m, t_stop, iso, shutter_deg, nd_stops;
/// angles as read off the head, to half a degree.
void writeCameraReport(const std::filesystem::path& path, const Shoot& shoot);

/// poses.csv: file, pan_deg, tilt_deg, roll_deg, focal_px, exposure; every digit.
void writeTruePoses(const std::filesystem::path& path, const Shoot& shoot);

/// Renders and writes the whole shoot: plates (or photographs), lens.jsonl, report.csv,
/// truth/poses.csv, truth/cameras.csv and truth/scene.json. Photographs have neither track nor
/// report. The true panorama is left to the caller.
void writeShoot(const std::filesystem::path& folder, const Shoot& shoot, const TrackFormat& track,
                bool report);

/// A float EXR latlong.
void writePanoramaExr(const std::filesystem::path& path, const io::Picture& panorama);

/// ST 12-1 label of a frame number at a rate, as an EXR timeCode word (TV60 packing).
[[nodiscard]] uint32_t timecodeWord(int64_t frame, const Rate& rate);

}  // namespace plateloom::world
