// A shot list for the plate unit: what to set on the head, plate by plate. As a camera report to
// fill in, which readCameraReport reads back; as OpenTrackIO poses; and as a page to print.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"

namespace plateloom::io {

struct ListedShot {
    std::string file;  ///< the name that the plate is to get
    int row = 0;       ///< 1 is the lowest
    calib::PanTiltRoll pose;
    double least_overlap = 1;  ///< with any of its neighbours
    /// Its outline as pan and tilt in degrees, closed; pans go on beyond 180 where it wraps.
    std::vector<calib::Vector2d> outline_deg;
};

struct ShotList {
    std::string title;
    calib::Lens lens;
    calib::Sensor sensor;
    std::vector<ListedShot> shots;
    double pan_from_deg = -180, pan_to_deg = 180, tilt_from_deg = -90,
           tilt_to_deg = 90;                                   ///< wanted
    std::vector<std::pair<std::string, std::string>> figures;  ///< what it is, and its value
    std::vector<std::string> cautions;
};

/// The columns of a camera report; pan, tilt, roll and focal length are filled in.
void writeShotReport(const std::filesystem::path& path, const ShotList& list);
/// One OpenTrackIO sample a shot, in the form of a solve whose plates were placed by "plan".
void writeShotPoses(const std::filesystem::path& path, const ShotList& list);
/// One HTML file for A4 paper, nothing fetched from anywhere: figures, the sphere unrolled with
/// every plate's outline and number, and the list with boxes to tick and room to write.
void writeShotPage(const std::filesystem::path& path, const ShotList& list);

}  // namespace plateloom::io
