#include "io/shot_list.h"

#include <cmath>
#include <sstream>

#include "io/made_mark.h"
#include "io/new_file.h"
#include "io/solve_file.h"

namespace plateloom::io {

namespace {

// A name with a comma or a quote in it has to be quoted in a table.
std::string cell(const std::string& text) {
    if (text.find_first_of(",\"\n#;\t") == std::string::npos) return text;
    std::string quoted = "\"";
    for (const char c : text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
    return quoted + "\"";
}

}  // namespace

void writeShotReport(const std::filesystem::path& path, const ShotList& list) {
    std::ostringstream out;
    out << "# Camera report to fill in as the plates are shot: correct the file names, and write "
           "what "
           "was set.\n"
           "# Empty cells are allowed; an empty nd_stops says that no filter was in.\n"
           "file,pan_deg,tilt_deg,roll_deg,focal_mm,focus_m,t_stop,iso,shutter_deg,nd_stops\n";
    for (const ListedShot& shot : list.shots)
        out << cell(shot.file) << ',' << shot.pose.pan_deg << ',' << shot.pose.tilt_deg << ','
            << shot.pose.roll_deg << ',' << std::round(list.lens.focal_mm * 100) / 100 << ",,,,,\n";
    out << "# " << openMark(Made::plan) << "\n";
    writeText(path, out.str());
}

void writeShotPoses(const std::filesystem::path& path, const ShotList& list) {
    std::vector<SolvedPlate> plates;
    for (const ListedShot& shot : list.shots) {
        SolvedPlate plate;
        plate.file = shot.file;
        plate.placed = true;
        plate.placed_by = "plan";
        plate.pose = shot.pose;
        plate.lens = list.lens;
        plate.sensor = list.sensor;
        plates.push_back(std::move(plate));
    }
    writeSolve(path, plates, Made::plan);
}

}  // namespace plateloom::io
