#include "stitch/calibrate/prep_pictures.h"

#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/twin_files.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

namespace {

// One report line a picture, or null. Lines about other pictures are left alone: a prep day's
// report tells of charts and fields alike.
std::vector<const io::ReportLine*> linesOf(const io::CameraReport& report,
                                           const std::vector<io::PlateFile>& files) {
    std::vector<const io::ReportLine*> lines(files.size(), nullptr);
    for (const io::ReportLine& line : report.lines)
        for (const size_t i : platesNamed(line.file, files)) {
            if (lines[i])
                throw io::InputError(report.path.string() + ":" + std::to_string(line.line),
                                     line.file + " is already in line " +
                                         std::to_string(lines[i]->line) + "; keep one of the two");
            lines[i] = &line;
        }
    return lines;
}

void describe(const PrepRequest& request, const io::ReportLine* line, PrepPicture* picture) {
    const auto known = [&](const std::optional<double>& of_all,
                           std::optional<double> io::ReportLine::*reported,
                           const std::optional<double>& in_file) {
        if (of_all) return of_all;
        if (line && line->*reported) return line->*reported;
        return in_file;
    };
    const io::PlateFile& file = picture->file;
    picture->setting = {known(request.focus_m, &io::ReportLine::focus_m, file.focus_m),
                        known(request.t_stop, &io::ReportLine::t_stop, file.t_stop),
                        known(request.focal_mm, &io::ReportLine::focal_mm, file.focal_mm)};
    if (!picture->setting.t_stop && file.f_stop) {
        picture->setting.t_stop = file.f_stop;
        picture->stop_is_f_number = true;
    }
    if (line && line->pan_deg && line->tilt_deg)
        picture->facing = {*line->pan_deg, *line->tilt_deg, line->roll_deg.value_or(0)};
}

}  // namespace

PrepPictures gatherPrepPictures(const PrepRequest& request) {
    PrepPictures out;
    const auto paths = io::expandPlates(request.pictures, request.frames);
    const std::vector<size_t> first = io::firstTwins(paths);
    std::vector<io::PlateFile> files;
    for (size_t i = 0; i < paths.size(); ++i) {
        if (first[i] == i)
            files.push_back(io::readPlateHeader(paths[i], request.colour_space));
        else
            out.warnings.push_back(paths[i].string() + ": the same picture as " +
                                   paths[first[i]].string() + "; left out");
    }
    io::CameraReport report;
    if (request.report) {
        report = io::readCameraReport(*request.report);
        out.warnings.insert(out.warnings.end(), report.warnings.begin(), report.warnings.end());
    }
    const auto lines = linesOf(report, files);
    for (size_t i = 0; i < files.size(); ++i) {
        PrepPicture picture;
        picture.file = files[i];
        describe(request, lines[i], &picture);
        out.pictures.push_back(std::move(picture));
    }
    return out;
}

}  // namespace plateloom::stitch
