// Renders the invented square filmed by several cameras on one mount: clips, a lens track a camera,
// and the truth.
#include <malloc.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdio>
#include <iostream>

#include "io/input_error.h"
#include "world/array_recording.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Arguments {
    std::filesystem::path folder;
    ArraySettings take;
    std::string size, rate = "24", scene = "night", lens = "barrel";
    std::vector<std::string> knocks, black, missing;
    double texture = 1, apart_m = -1;
    bool still_world = false, flat_to_recorded = false;
};

void addWorld(CLI::App& app, Arguments& a) {
    app.add_option("--seed", a.take.seed, "Another town, other directions, other noise");
    app.add_option("--scene", a.scene)->check(CLI::IsMember({"night", "day", "constant"}));
    app.add_option("--texture", a.texture, "Strength of what does not repeat, 0 to 1");
    app.add_flag("--still-world", a.still_world, "Nothing moves and all lamps burn steadily");
}

void addMount(CLI::App& app, Arguments& a) {
    app.add_option("--cameras", a.take.cameras)->check(CLI::Range(1, 26))->capture_default_str();
    app.add_option("--step", a.take.step_deg, "From camera to camera, degrees")
        ->check(CLI::Range(1.0, 180.0))
        ->capture_default_str();
    app.add_option("--tilt", a.take.tilt_deg, "Of all cameras, degrees")->capture_default_str();
    app.add_option("--jitter", a.take.pan_tilt_jitter_deg, "How unevenly they are mounted, degrees")
        ->capture_default_str();
    app.add_option("--apart", a.apart_m,
                   "Radius of the arc on which entrance pupils stand, m (0.15; in turn 0)");
    app.add_option("--shake", a.take.shake.reach_deg,
                   "Reach of the mount's shake, degrees; 0: still")
        ->check(CLI::Range(0.0, 10.0))
        ->capture_default_str();
    app.add_option("--own-shake", a.take.own_shake_deg,
                   "Reach of what each camera does on its mount by itself, degrees")
        ->check(CLI::Range(0.0, 10.0))
        ->capture_default_str();
    app.add_option("--mount-pan", a.take.pan_deg_per_s,
                   "The mount goes round besides, degrees a second")
        ->capture_default_str();
    app.add_option("--measured-deg", a.take.measured_deg,
                   "Poses in the tracks are measured to this many degrees; 0: exactly")
        ->capture_default_str();
    app.add_option("--measured-m", a.take.measured_m, "Places likewise, metres")
        ->capture_default_str();
    app.add_flag("--in-turn", a.take.in_turn, "One camera, a take for each direction");
}

void addCamera(CLI::App& app, Arguments& a) {
    app.add_option("--frames", a.take.frames)->check(CLI::Range(1, 100000))->capture_default_str();
    app.add_option("--first-frame", a.take.first_frame)->capture_default_str();
    app.add_option("--ragged", a.take.ragged_frames,
                   "Clips begin and end up to so many frames before and after the others")
        ->check(CLI::Range(0, 1000));
    app.add_option("--size", a.size, "Plate size in pixels, WxH (2048x1152)");
    app.add_option("--rate", a.rate)
        ->check(CLI::IsMember(
            {"23.976", "24", "25", "29.97", "29.97df", "30", "50", "59.94", "59.94df", "60"}));
    app.add_option("--focal", a.take.focal_mm, "Nominal focal length, mm on a 36 mm wide sensor")
        ->capture_default_str();
    app.add_option("--lens", a.lens)->check(CLI::IsMember({"barrel", "pincushion", "mustache"}));
    app.add_flag("--u-d", a.flat_to_recorded, "Lenses as U-D polynomials instead of D-U");
    app.add_option("--iris-camera", a.take.iris_camera,
                   "The camera whose iris closes during the take; 0: none")
        ->capture_default_str();
    app.add_option("--iris-frames", a.take.iris_frames, "How many frames that takes")
        ->capture_default_str();
    app.add_option("--exposure-jitter", a.take.exposure_jitter_stops,
                   "How unlike the cameras are exposed, stops")
        ->capture_default_str();
    app.add_option("--noise", a.take.noise, "One sigma of noise at white")->capture_default_str();
    app.add_option("--quality", a.take.samples, "Samples of light a pixel in each direction")
        ->check(CLI::Range(1, 8))
        ->capture_default_str();
    app.add_flag("--exact", a.take.exact,
                 "Render each frame from the scene itself (several times slower)");
    app.add_option("--knock", a.knocks, "CAMERA@FRAME=DEGREES: from there on it looks elsewhere");
    app.add_option("--black", a.black, "CAMERA@FIRST-LAST: those frames of it are black");
    app.add_option("--missing", a.missing, "CAMERA@FIRST-LAST: those files of it are lost");
}

Arguments parse(int argc, char** argv) {
    Arguments a;
    CLI::App app("Renders an invented square filmed by several cameras on one mount.");
    app.set_help_flag("-h,--help", "Print this and end");
    app.add_option("-o", a.folder, "Folder to write to")->required();
    addWorld(app, a);
    addMount(app, a);
    addCamera(app, a);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        std::exit(app.exit(error) == 0 ? 0 : 2);
    }
    return a;
}

Rate rateOf(const std::string& name) {
    if (name == "23.976") return {24000, 1001, false};
    if (name == "29.97") return {30000, 1001, false};
    if (name == "29.97df") return {30000, 1001, true};
    if (name == "59.94") return {60000, 1001, false};
    if (name == "59.94df") return {60000, 1001, true};
    return {std::stoi(name), 1, false};
}

Light lightOf(const std::string& name) {
    if (name == "day") return Light::day;
    return name == "constant" ? Light::constant : Light::night;
}

Knock knockOf(const std::string& text) {
    Knock knock;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%d@%d=%lf%c", &knock.camera, &knock.frame, &knock.turn_deg,
                    &rest) != 3)
        throw io::InputError("--knock " + text, "is not CAMERA@FRAME=DEGREES, e.g. 2@1020=0.3");
    return knock;
}

FrameRange rangeOf(const std::string& option, const std::string& text) {
    FrameRange range;
    char rest = 0;
    const int read =
        std::sscanf(text.c_str(), "%d@%d-%d%c", &range.camera, &range.first, &range.last, &rest);
    if (read == 2 && text.find('-') == std::string::npos)
        range.last = range.first;
    else if (read != 3 || range.last < range.first)
        throw io::InputError(option + " " + text, "is not CAMERA@FIRST-LAST, e.g. 3@1010-1014");
    return range;
}

ArraySettings settingsOf(const Arguments& a) {
    ArraySettings s = a.take;
    s.scene.seed = s.seed;
    s.scene.light = lightOf(a.scene);
    s.scene.texture = float(a.texture);
    s.moves = !a.still_world && a.scene != "constant";
    s.rate = rateOf(a.rate);
    s.look = lensLookOf(a.lens);
    if (a.flat_to_recorded) s.direction = calib::DistortionDirection::flat_to_recorded;
    if (a.apart_m >= 0)
        s.pupil_radius_m = a.apart_m;
    else if (s.in_turn)
        s.pupil_radius_m = 0;
    char rest = 0;
    if (!a.size.empty() &&
        (std::sscanf(a.size.c_str(), "%dx%d%c", &s.width_px, &s.height_px, &rest) != 2 ||
         s.width_px < 16 || s.height_px < 16))
        throw io::InputError("--size " + a.size, "is not WIDTHxHEIGHT, e.g. 2048x1152");
    for (const std::string& text : a.knocks) s.knocks.push_back(knockOf(text));
    for (const std::string& text : a.black) s.black.push_back(rangeOf("--black", text));
    for (const std::string& text : a.missing) s.missing.push_back(rangeOf("--missing", text));
    return s;
}

}  // namespace

int main(int argc, char** argv) {
    // Pictures come and go by the hundred; giving their memory back each time costs a quarter of
    // the run in page faults (glibc, mallopt(3)).
    mallopt(M_MMAP_THRESHOLD, 1 << 30);
    mallopt(M_TRIM_THRESHOLD, 1 << 30);
    try {
        const Arguments arguments = parse(argc, argv);
        const auto start = std::chrono::steady_clock::now();
        const ArrayTake take = planArray(settingsOf(arguments));
        writeTake(arguments.folder, take);
        size_t plates = 0;
        for (const Clip& clip : take.clips) plates += clip.frames.size();
        const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
        std::fprintf(stderr, "%zu clips, %zu plates in %.1f s\n", take.clips.size(), plates,
                     took.count());
    } catch (const std::exception& error) {
        std::cerr << "render_array: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
