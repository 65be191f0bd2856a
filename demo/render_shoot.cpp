// Renders a shoot of the invented square: plates, lens track, camera report and the truth.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdio>
#include <iostream>

#include "io/input_error.h"
#include "world/flaws.h"
#include "world/recording.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Arguments {
    std::filesystem::path folder;
    uint32_t seed = 1;
    std::string lens = "barrel", grid, scene = "night", size;
    std::string rate = "23.976";
    double noise = -1, parallax_m = 0, focal_mm = 0, texture = 1;
    bool poses = false, array = false, plates_only = false, no_report = false, no_sky = false;
    bool flaws = false, steady = false;
    bool photographs = false, zoom = false, flat_to_recorded = false, no_timecode = false,
         header = false;
    int truth_width = 4096;
};

Arguments parse(int argc, char** argv) {
    Arguments a;
    CLI::App app("Renders plates of an invented square, with a lens track and the truth.");
    app.set_help_flag("-h,--help", "Print this and end");
    app.add_option("-o", a.folder, "Folder to write to")->required();
    app.add_option("--seed", a.seed, "Another town, other directions, other noise");
    app.add_option("--lens", a.lens)->check(CLI::IsMember({"barrel", "pincushion", "mustache"}));
    app.add_flag("--u-d", a.flat_to_recorded, "The lens as a U-D polynomial instead of D-U");
    app.add_flag("--zoom", a.zoom, "Another focal length for each plate");
    app.add_option("--grid", a.grid, "three-rows, two-rows, ring8, arc8 or wide3");
    app.add_option("--scene", a.scene)->check(CLI::IsMember({"night", "day", "constant"}));
    app.add_option("--texture", a.texture, "Strength of what does not repeat, 0 to 1");
    app.add_option("--size", a.size, "Plate size in pixels, WxH");
    app.add_option("--focal", a.focal_mm, "Nominal focal length, mm on a 36 mm wide sensor");
    app.add_option("--rate", a.rate)->check(CLI::IsMember({"23.976", "24", "25", "29.97df"}));
    app.add_option("--noise", a.noise, "One sigma of noise at white");
    app.add_option("--parallax", a.parallax_m, "Entrance pupil's distance from the head's axis, m");
    app.add_flag("--photos", a.photographs, "Hand-held JPEG photographs with nothing but EXIF");
    app.add_flag("--steady", a.steady, "Focus and iris locked, as by the book");
    app.add_flag(
        "--flaws", a.flaws,
        "Steady, but with a hole, a soft plate, a moved iris, the head off the pupil and a "
        "lost lens sample; truth/flaws.json says where");
    app.add_flag("--poses,!--no-poses", a.poses, "Put pan, tilt and roll into the lens track");
    app.add_flag("--no-timecode", a.no_timecode, "Plates and samples go together by their order");
    app.add_flag("--lens-in-header", a.header, "Focus, T-stop, focal length and ISO in each plate");
    app.add_flag("--array", a.array, "The lens track as one JSON array");
    app.add_flag("--no-sky", a.no_sky, "Leave out the plate of bare sky");
    app.add_flag("--no-report", a.no_report, "Write no camera report");
    app.add_option("--truth-width", a.truth_width, "Width of the true panorama");
    app.add_flag("--plates-only", a.plates_only, "Leave out the true panorama");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        std::exit(app.exit(error) == 0 ? 0 : 2);
    }
    return a;
}

Rate rateOf(const std::string& name) {
    if (name == "24") return {24, 1, false};
    if (name == "25") return {25, 1, false};
    if (name == "29.97df") return {30000, 1001, true};
    return {24000, 1001, false};
}

Light lightOf(const std::string& name) {
    if (name == "day") return Light::day;
    return name == "constant" ? Light::constant : Light::night;
}

ShootSettings settingsOf(const Arguments& a) {
    ShootSettings s;
    s.scene.seed = a.seed;
    s.scene.light = lightOf(a.scene);
    s.scene.texture = float(a.texture);
    s.seed = a.seed;
    s.rows = rowsOfGrid("three-rows");
    if (a.flaws || a.steady) s.focus_moves = s.iris_moves = false;
    if (a.photographs) s = photographSettings(s.scene, a.seed);
    if (!a.grid.empty()) s.rows = rowsOfGrid(a.grid);
    if (a.no_sky) s.sky_plate = false;
    if (!a.size.empty() && (std::sscanf(a.size.c_str(), "%dx%d", &s.width_px, &s.height_px) != 2 ||
                            s.width_px < 16 || s.height_px < 16))
        throw io::InputError("--size " + a.size, "is not WIDTHxHEIGHT, e.g. 2048x1152");
    if (a.focal_mm > 0) s.focal_mm = a.focal_mm;
    if (a.noise >= 0) s.noise = a.noise;
    if (a.parallax_m > 0) s.parallax_m = a.parallax_m;
    s.look = lensLookOf(a.lens);
    s.timecodes = !a.no_timecode;
    s.lens_in_header = a.header;
    s.zoom_moves = a.zoom;
    if (a.flat_to_recorded) s.direction = calib::DistortionDirection::flat_to_recorded;
    s.rate = rateOf(a.rate);
    return s;
}

void render(const Arguments& a) {
    const auto start = std::chrono::steady_clock::now();
    const auto seconds = [&] {
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    };
    const ShootSettings settings = settingsOf(a);
    const FlawedShoot flawed =
        a.flaws ? flawedShoot(settings, allFlaws(), a.seed) : FlawedShoot{planShoot(settings), {}};
    const Shoot& shoot = flawed.shoot;
    TrackFormat track;
    track.array = a.array;
    track.poses = a.poses;
    writeShoot(a.folder, shoot, track, !a.no_report);
    if (a.flaws) writeFlaws(a.folder / "truth" / "flaws.json", flawed.flaws);
    std::cerr << shoot.plates.size() << " plates in " << seconds() << " s\n";
    if (a.plates_only) return;
    const Scene scene(shoot.settings.scene);
    writePanoramaExr(a.folder / "truth" / "panorama.exr",
                     truePanorama(scene, a.truth_width, calib::Matrix3d::Identity()));
    std::cerr << "with the true panorama " << seconds() << " s\n";
}

}  // namespace

int main(int argc, char** argv) {
    try {
        render(parse(argc, argv));
    } catch (const std::exception& error) {
        std::cerr << "render_shoot: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
