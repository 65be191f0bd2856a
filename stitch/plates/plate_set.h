// The plates of one job, each with what is known of its camera before the solve.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"
#include "io/lens_track.h"
#include "io/plate_file.h"
#include "stitch/plates/lens_data.h"

namespace plateloom::stitch {

struct Plate {
    io::PlateFile file;
    calib::Sensor
        sensor;        ///< pixels from the file, millimetres from the track or the file's metadata
    calib::Lens lens;  ///< the best that is known; zero where nothing is
    bool distortion_known = false, shading_known = false;
    /// The same lens focused a little nearer (farther at the near end of its table), where its data
    /// come from a table by the focus that a person read off the ring: a solve may set that right.
    std::optional<calib::Lens> refocused;
    static constexpr double kRefocused = 0.05;  ///< share by which 1 / focus distance differs
    /// Of a lens from a table that says it: a solve may set right as much of the optical axis and
    /// the tangential terms. 0: they stay.
    calib::GeometrySigma geometry_sigma;
    /// One-sigma relative uncertainty of lens.focal_mm: a lens track or table 0.001, a focal length
    /// in a report or in EXIF 0.03, a bare guess 0.5 (then the solve has to find it).
    double focal_sigma = 0.5;
    /// lens.focal_mm over the mean of its group's, where lens data without distortion measured it
    /// plate by plate: the distortion goes with it.
    double known_breathing = 1;
    /// Plates of one group share whatever of the lens has to be solved.
    int lens_group = 0;
    /// The picture stands upright while others of its group lie: it was turned by a quarter after
    /// it was recorded, 1 clockwise or -1 counterclockwise. 0: it has the group's axes.
    int quarter_turn = 0;
    std::optional<calib::PanTiltRoll> pose;  ///< from the track or the report
    double pose_sigma_deg = 1.0;
    /// Where the entrance pupil stood, in the world's metres: the lens sample's translation, moved
    /// along the optical axis (+Y of the camera, toward the object) by the entrance pupil offset
    /// (OpenTrackIO; none where nobody tells one). Only of samples that say both where the camera
    /// stood and where it looked.
    std::optional<calib::Vector3d> pupil_m;
    /// Where the lens sample says that it looked (as the picture stands), in the world of pupil_m;
    /// `pose` is the camera report's where that says something else.
    std::optional<calib::PanTiltRoll> tracked_pose;
    /// Known exposure in stops against the others (T-stop, shutter, ISO, ND): more light is more.
    std::optional<double> exposure_stops;
};

struct PlateSet {
    std::vector<Plate> plates;
    std::vector<std::string> notes;     ///< e.g. how plates were tied to samples
    std::vector<std::string> warnings;  ///< e.g. two plates that hold the same picture
};

struct PlateArguments {
    std::vector<std::string> plates;
    std::vector<std::filesystem::path> lens_tracks;  ///< and at most one lens table
    std::optional<std::filesystem::path> report;
    std::optional<io::FrameRange> frames;
    std::string colour_space;
    /// Of what is composed: the primaries of this colour space. "": the first plate's.
    std::string working_space;
    std::optional<double> focal_mm, sensor_width_mm;  ///< said on the command line
    /// The files are frames of one camera's shot, maybe several elements of it: elements of one
    /// moment share its lens sample, and equal pictures are different frames.
    bool one_shot = false;
};

/// Reads headers, tracks and report, ties samples to plates and checks each lens over its sensor.
/// Throws io::InputError for whatever is missing, damaged or contradictory. A plate that is given
/// twice, or (but for `one_shot`) as a byte-for-byte copy, is kept once, with a warning. So
/// are panoramas and previews left out that an earlier run wrote beside the plates.
[[nodiscard]] PlateSet gatherPlates(const PlateArguments& arguments);

/// The plates that a report's name means: the end of a path, a file's name or its stem, in any
/// case. Where it names none so, those of that name in another format: a report that names EXR
/// files serves their JPEG proxies.
[[nodiscard]] std::vector<size_t> platesNamed(const std::string& name,
                                              const std::vector<io::PlateFile>& files);

/// The part of gatherPlates that touches no file. `report` and `table` may be null. A plate takes
/// from the table what its lens sample does not say, at the focus, T-stop and focal length that the
/// sample, else the report, else its own header gives; without those that the table's lens depends
/// on it is refused.
[[nodiscard]] PlateSet describePlates(const std::vector<io::PlateFile>& files,
                                      const std::vector<io::LensTrack>& tracks,
                                      const io::CameraReport* report,
                                      const PlateArguments& arguments,
                                      const TableInUse* table = nullptr);

/// Which of the plates' lenses lack distortion or shading, a line for each of the two.
[[nodiscard]] std::vector<std::string> unknownGlass(const PlateSet& set);

}  // namespace plateloom::stitch
