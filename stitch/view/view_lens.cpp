#include "stitch/view/view_lens.h"

#include <cmath>
#include <map>

#include "calib/said.h"
#include "io/input_error.h"
#include "io/lens_table_file.h"

namespace plateloom::stitch {

namespace {

// The rings as the table's author wrote them down: the focal length is the marked one.
calib::LensSetting settingOf(const io::LensSample& sample, const SaidOfLens& told) {
    calib::LensSetting setting{sample.lens.focus_m, sample.lens.t_stop, told.focal_mm};
    if (!setting.t_stop) setting.t_stop = sample.lens.f_stop;
    if (!setting.focal_mm && sample.has_focal) setting.focal_mm = sample.lens.focal_mm;
    return setting;
}

void checkRings(const TableInUse& table, const calib::LookedUp& found, const io::ShotFrame& frame) {
    if (found.missing.empty()) return;
    const std::string& ring = found.missing.front();
    throw io::InputError(
        frame.where, "says no " + ring + ", but the lens in " + table.path.filename().string() +
                         " changes with it: " +
                         (ring == "focal length" ? "give --focal MM, or a track that says it"
                                                 : "the camera track (--camera) has to say it"));
}

// Puts the table's lens into one sample.
void take(const calib::LookedUp& found, io::LensSample& sample) {
    if (found.geometry && !sample.has_distortion) {
        sample.lens.focal_mm = found.lens.focal_mm;
        sample.lens.distortion = found.lens.distortion;
        sample.lens.distortion_offset_mm = found.lens.distortion_offset_mm;
        sample.lens.projection_offset_mm = found.lens.projection_offset_mm;
        sample.has_focal = sample.has_distortion = true;
    }
    if (found.shading && !sample.has_shading) {
        sample.lens.shading = found.lens.shading;
        sample.has_shading = true;
    }
}

}  // namespace

void addMeasuredLens(const TableInUse& table, const SaidOfLens& told, io::ShotCamera& camera) {
    const double table_mm = table.table.sensor.width_mm;
    std::map<std::string, size_t> warnings;
    for (io::ShotFrame& frame : camera.frames) {
        io::LensSample& sample = frame.sample;
        const calib::LookedUp found = table.lookup.at(settingOf(sample, told));
        checkRings(table, found, frame);
        for (const std::string& warning : found.warnings) ++warnings[warning];
        if (!sample.lens.t_stop && sample.lens.f_stop && table.inTStops())
            ++warnings["no T-stop is known; its f-number is taken for one in the lens table"];
        take(found, sample);
        if (!sample.sensor_width_mm)
            sample.sensor_width_mm = told.sensor_width_mm.value_or(table_mm);
        constexpr double kSameWidth = 0.01;
        if (std::abs(*sample.sensor_width_mm / table_mm - 1) > kSameWidth)
            ++warnings[said(
                "its sensor is %.4g mm wide, not the %.4g mm that the lens "
                "table was measured on; the lens's middle is taken to be the "
                "sensor's",
                *sample.sensor_width_mm, table_mm)];
    }
    for (const auto& [warning, frames] : warnings)
        camera.warnings.push_back((frames == camera.frames.size()
                                       ? std::string("the camera track")
                                       : std::to_string(frames) + " frames") +
                                  ": " + warning);
    camera.notes.push_back(saidOf(table));
}

TableInUse readLensTableInUse(const std::filesystem::path& path) {
    if (!io::isLensTable(path))
        throw io::InputError(path.string(),
                             "is no lens table from calibrate; a track of the shot's camera goes "
                             "with --camera");
    LensData data = readLensData({path});
    return std::move(*data.table);
}

}  // namespace plateloom::stitch
