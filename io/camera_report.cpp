#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/measured_column.h"

namespace plateloom::io {

CameraReport readCameraReport(const std::filesystem::path& path) {
    const Table table = Table::read(path);
    std::vector<bool> used(table.columns().size(), false);
    const MeasuredColumn pan(table, "pan", "deg", &used), tilt(table, "tilt", "deg", &used),
        roll(table, "roll", "deg", &used), focal(table, "focal", "mm", &used),
        focus(table, "focus", "m", &used), shutter(table, "shutter", "deg", &used);
    const int file = usedColumn(table, "file", &used), t_stop = usedColumn(table, "t_stop", &used),
              iso = usedColumn(table, "iso", &used), nd = usedColumn(table, "nd_stops", &used);
    if (file < 0)
        throw InputError(path.string(),
                         "has no column named file; a camera report needs one to "
                         "say which plate a line is about");
    const auto above0 = [&](const Table::Row& row, int column) {
        const auto value = table.number(row, column);
        if (value && *value <= 0)
            throw InputError(table.where(row, column),
                             "\"" + table.text(row, column) + "\" is not above 0");
        return value;
    };

    CameraReport report;
    report.path = path;
    if (const std::string ignored = ignoredColumns(table, used); !ignored.empty())
        report.warnings.push_back(ignored);
    for (const Table::Row& row : table.rows()) {
        ReportLine line;
        line.file = table.text(row, file);
        line.line = row.line;
        if (line.file.empty()) throw InputError(table.where(row, file), "is empty; name the plate");
        line.pan_deg = pan.at(row);
        line.tilt_deg = tilt.at(row);
        line.roll_deg = roll.at(row);
        line.focal_mm = focal.above0At(row);
        line.focus_m = focus.focusAt(row);
        line.shutter_deg = shutter.above0At(row);
        line.t_stop = above0(row, t_stop);
        line.iso = above0(row, iso);
        line.nd_stops = table.number(row, nd);
        report.lines.push_back(std::move(line));
    }
    if (report.lines.empty()) throw InputError(path.string(), "has a header but no lines");
    return report;
}

}  // namespace plateloom::io
