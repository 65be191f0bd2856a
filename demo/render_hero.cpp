// Renders the hero shot in the square of a shoot: recorded frames, lens tracks with poses, truth.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>

#include "io/input_error.h"
#include "world/hero_shot.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Arguments {
    std::filesystem::path shoot, folder, solve, performance;
    std::string lens = "mustache", size;
    HeroSettings hero;
    int samples_per_frame = 1;
};

Arguments parse(int argc, char** argv) {
    Arguments a;
    CLI::App app(
        "Renders a hero shot in the square of a shoot, with its lens track and the truth.");
    app.set_help_flag("-h,--help", "Print this and end");
    app.add_option("SHOOT", a.shoot, "Folder that render_shoot wrote")->required();
    app.add_option("-o", a.folder, "Folder to write to")->required();
    app.add_option("--solve", a.solve,
                   "Give the tracks' poses in the world of this solve of the shoot");
    app.add_option("--performance", a.performance,
                   "Also record a performer: on a green screen, keyed, and on location");
    app.add_option("--frames", a.hero.frames)->check(CLI::Range(1, 100000))->capture_default_str();
    app.add_option("--size", a.size, "Frame size in pixels, WxH");
    app.add_option("--lens", a.lens)
        ->check(CLI::IsMember({"barrel", "pincushion", "mustache"}))
        ->capture_default_str();
    app.add_option("--focal", a.hero.focal_mm, "Nominal focal length, mm on a 36 mm wide sensor")
        ->check(CLI::Range(8.0, 400.0))
        ->capture_default_str();
    app.add_option("--noise", a.hero.noise, "One sigma of noise at white");
    app.add_option("--quality", a.hero.samples, "Samples of light a pixel in each direction")
        ->check(CLI::Range(1, 8))
        ->capture_default_str();
    app.add_option("--samples-per-frame", a.samples_per_frame, "Lens samples a frame in hero.jsonl")
        ->check(CLI::Range(1, 100));
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        std::exit(app.exit(error) == 0 ? 0 : 2);
    }
    return a;
}

void render(Arguments a) {
    HeroSettings& hero = a.hero;
    hero.scene = readScene(a.shoot / "truth" / "scene.json");
    hero.seed = hero.scene.seed;
    hero.look = lensLookOf(a.lens);
    if (!a.size.empty())
        if (std::sscanf(a.size.c_str(), "%dx%d", &hero.width_px, &hero.height_px) != 2 ||
            hero.width_px < 16 || hero.height_px < 16)
            throw io::InputError("--size " + a.size, "is not WIDTHxHEIGHT, e.g. 1024x576");
    calib::Matrix3d trackFromSquare = calib::Matrix3d::Identity();
    if (!a.solve.empty())
        trackFromSquare =
            compareSolve(io::readSolve(a.solve), readTruePlates(a.shoot / "truth" / "poses.csv"))
                .truthFromSolve.transpose();
    writeHeroShot(a.folder, hero, a.samples_per_frame, trackFromSquare,
                  a.performance.empty() ? std::nullopt : std::optional(a.performance));
}

}  // namespace

int main(int argc, char** argv) {
    try {
        render(parse(argc, argv));
    } catch (const std::exception& error) {
        std::cerr << "render_hero: " << error.what() << '\n';
        return 3;
    }
    return 0;
}
