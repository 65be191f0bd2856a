// The pictures of a prep day with what is known of the rings when each was taken: said for all of
// them, else in the camera report, else in the file's own metadata.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens_table.h"
#include "calib/pose.h"
#include "io/plate_file.h"

namespace plateloom::stitch {

struct PrepRequest {
    std::vector<std::string> pictures;  ///< as PLATES anywhere
    std::optional<io::FrameRange> frames;
    std::optional<std::filesystem::path> report;  ///< camera report
    std::string colour_space;
    std::optional<double> focal_mm, focus_m, t_stop;  ///< of all pictures
};

struct PrepPicture {
    io::PlateFile file;
    calib::LensSetting setting;
    bool stop_is_f_number = false;  ///< no T-stop is known; setting.t_stop is the f-number
    std::optional<calib::PanTiltRoll> facing;  ///< from the report; needs pan and tilt
};

struct PrepPictures {
    std::vector<PrepPicture> pictures;
    std::vector<std::string> warnings;
};

/// Reads headers and report. Throws io::InputError for what can't be read, and for a report's line
/// that names two pictures.
[[nodiscard]] PrepPictures gatherPrepPictures(const PrepRequest& request);

}  // namespace plateloom::stitch
