// Renders a prep day: charts and flat fields through the demo's lens over focus and iris, and the
// true lens.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <fstream>
#include <iostream>

#include "io/input_error.h"
#include "world/flat_field.h"
#include "world/lens_charts.h"
#include "world/recording.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Arguments {
    std::filesystem::path folder;
    std::string lens = "barrel", board = "charuco", size = "2048x1152", squares;
    std::vector<double> focuses_m{0.9, 1.4, 2.2, 4.0, 8.0, 20.0};
    std::vector<double> irises{2.0, 2.5, 2.8, 3.4, 4.0, 5.6};
    double focal_mm = 28, sensor_mm = 36, noise = 0.004, blur_px = 0.6;
    int poses = 14, fields = 3;
    uint32_t seed = 1;
    bool flat_to_recorded = false, no_charts = false, no_fields = false;
};

Arguments parse(int argc, char** argv) {
    Arguments a;
    CLI::App app("Renders charts and flat fields through the demo's lens.");
    app.set_help_flag("-h,--help", "Print this and end");
    app.add_option("-o", a.folder, "Folder to write to: charts/, fields/, fields.csv, truth/")
        ->required();
    app.add_option("--lens", a.lens)->check(CLI::IsMember({"barrel", "pincushion", "mustache"}));
    app.add_flag("--u-d", a.flat_to_recorded, "The lens as a U-D polynomial instead of D-U");
    app.add_option("--board", a.board)->check(CLI::IsMember({"checker", "charuco", "dots"}));
    app.add_option("--squares", a.squares, "Squares (or dots) of the board, e.g. 12x8");
    app.add_option("--size", a.size, "Picture size in pixels, WxH");
    app.add_option("--focal", a.focal_mm, "Nominal focal length, mm");
    app.add_option("--sensor", a.sensor_mm, "The sensor's width, mm");
    app.add_option("--focus", a.focuses_m, "Focus distances, m")->delimiter(',');
    app.add_option("--iris", a.irises, "T-stops")->delimiter(',');
    app.add_option("--poses", a.poses, "Charts a focus distance");
    app.add_option("--fields", a.fields, "Flat fields an iris; the camera turns between them");
    app.add_option("--noise", a.noise, "One sigma of noise at white");
    app.add_option("--blur", a.blur_px, "The lens's blur, pixels");
    app.add_option("--seed", a.seed, "Other poses, dust and noise");
    app.add_flag("--no-charts", a.no_charts);
    app.add_flag("--no-fields", a.no_fields);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        std::exit(app.exit(error) == 0 ? 0 : 2);
    }
    return a;
}

struct PrepDay {
    Arguments a;
    calib::Sensor sensor;

    [[nodiscard]] calib::Lens lensAt(double focus_m, double t_stop) const {
        const auto direction = a.flat_to_recorded ? calib::DistortionDirection::flat_to_recorded
                                                  : calib::DistortionDirection::recorded_to_flat;
        return inventedLens(lensLookOf(a.lens), direction, a.focal_mm, focus_m, t_stop);
    }
};

PrepDay prepDay(const Arguments& a) {
    PrepDay day{a, {a.sensor_mm, 0, 0, 0}};
    if (std::sscanf(a.size.c_str(), "%dx%d", &day.sensor.width_px, &day.sensor.height_px) != 2 ||
        day.sensor.width_px < 16 || day.sensor.height_px < 16)
        throw io::InputError("--size " + a.size, "is not WIDTHxHEIGHT, e.g. 2048x1152");
    day.sensor.height_mm = a.sensor_mm * day.sensor.height_px / day.sensor.width_px;
    return day;
}

Board boardOf(const Arguments& a) {
    Board board;
    if (a.board == "charuco") board.kind = BoardKind::charuco;
    if (a.board == "dots") board = {BoardKind::dots, 17, 11, 0.04};
    if (!a.squares.empty() &&
        (std::sscanf(a.squares.c_str(), "%dx%d", &board.columns, &board.rows) != 2 ||
         board.columns < 3 || board.rows < 3))
        throw io::InputError("--squares " + a.squares, "is not COLUMNSxROWS, e.g. 12x8");
    return board;
}

std::string numbered(const char* name, int number) {
    char text[60];
    std::snprintf(text, sizeof text, "%s.%04d.exr", name, 1001 + number);
    return text;
}

// A board that fills the frame is smaller the nearer the lens is focused.
void renderCharts(const PrepDay& day) {
    const std::filesystem::path folder = day.a.folder / "charts";
    std::filesystem::create_directories(folder);
    std::ofstream truth(day.a.folder / "truth" / "charts.csv");
    truth << "file,focus_m,point,x_m,y_m,x_px,y_px\n";
    truth.precision(12);
    int number = 0;
    for (const double focus_m : day.a.focuses_m) {
        const calib::Lens lens = day.lensAt(focus_m, 4.0);
        const calib::LensMap map(lens, day.sensor);
        Board board = boardOf(day.a);
        for (const BoardPose& pose :
             spreadPoses(board, map, day.a.poses, day.a.seed * 100 + uint32_t(number))) {
            ChartRender render;
            render.noise = day.a.noise;
            render.blur_px = day.a.blur_px;
            render.seed = day.a.seed * 10000 + uint32_t(number);
            const std::string file = numbered("chart", number++);
            writePrepExr(folder / file, renderChart(board, pose, map, render), lens, day.a.focal_mm,
                         day.sensor);
            const auto points = boardPoints(board);
            const auto recorded = recordedPoints(board, pose, map);
            for (size_t i = 0; i < points.size(); ++i)
                if (recorded[i])
                    truth << file << ',' << focus_m << ',' << i << ',' << points[i].x() << ','
                          << points[i].y() << ',' << recorded[i]->x() << ',' << recorded[i]->y()
                          << '\n';
        }
    }
}

// One lit screen for the whole series. Between the pictures of a setting the camera turns: to the
// side, up, and by a quarter about its axis, as a head with a scale allows; fields.csv has it noted
// down. The dust stays where it is on the sensor.
void renderFields(const PrepDay& day) {
    static constexpr calib::PanTiltRoll kFacing[] = {{0, 0, 0},  {9, 0, 0},  {-9, 4, 0},
                                                     {0, -6, 0}, {0, 0, 90}, {6, 6, 90}};
    const std::filesystem::path folder = day.a.folder / "fields";
    std::filesystem::create_directories(folder);
    std::ofstream report(day.a.folder / "fields.csv");
    report << "file,pan_deg,tilt_deg,roll_deg\n";
    int number = 0;
    for (const double t_stop : day.a.irises)
        for (int turn = 0; turn < day.a.fields; ++turn) {
            const calib::Lens lens = day.lensAt(8.0, t_stop);
            FlatField field;
            field.tilt = {0.09, -0.055};
            field.bend << -0.06, 0.01, 0.01, 0.02;
            field.facing = kFacing[turn % 6];
            field.dust_spots = 40;
            field.dead_pixels = 60;
            field.noise = day.a.noise;
            field.seed = day.a.seed * 1000 + uint32_t(number);
            field.dust_seed = day.a.seed;
            const std::string file = numbered("field", number++);
            report << file << ',' << field.facing.pan_deg << ',' << field.facing.tilt_deg << ','
                   << field.facing.roll_deg << '\n';
            writePrepExr(folder / file, renderField(calib::LensMap(lens, day.sensor), field), lens,
                         day.a.focal_mm, day.sensor);
        }
}

void writeTruth(const PrepDay& day) {
    std::ofstream out(day.a.folder / "truth" / "lens.csv");
    out.precision(12);
    out << "focus_m,t_stop,focal_mm,k1,k2,k3,k4,k5,k6,p1,p2,distortion_x_mm,distortion_y_mm,"
           "projection_x_mm,projection_y_mm,a1,a2,a3\n";
    for (const double focus_m : day.a.focuses_m)
        for (const double t_stop : day.a.irises) {
            const calib::Lens lens = day.lensAt(focus_m, t_stop);
            out << focus_m << ',' << t_stop << ',' << lens.focal_mm;
            for (const double k : lens.distortion.radial) out << ',' << k;
            for (const double p : lens.distortion.tangential) out << ',' << p;
            out << ',' << lens.distortion_offset_mm.x() << ',' << lens.distortion_offset_mm.y()
                << ',' << lens.projection_offset_mm.x() << ',' << lens.projection_offset_mm.y()
                << ',' << lens.shading.a1 << ',' << lens.shading.a2 << ',' << lens.shading.a3
                << '\n';
        }
}

}  // namespace

int main(int argc, char** argv) {
    try {
        const PrepDay day = prepDay(parse(argc, argv));
        std::filesystem::create_directories(day.a.folder / "truth");
        if (!day.a.no_charts) renderCharts(day);
        if (!day.a.no_fields) renderFields(day);
        writeTruth(day);
    } catch (const std::exception& error) {
        std::cerr << "render_charts: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
