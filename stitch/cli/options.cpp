#include "stitch/cli/options.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdio>

#include "io/input_error.h"

namespace plateloom::cli {

namespace {

bool isTrack(const std::string& name) {
    std::string extension = std::filesystem::path(name).extension().string();
    std::transform(extension.begin(), extension.end(), extension.begin(),
                   [](unsigned char c) { return char(std::tolower(c)); });
    return extension == ".json" || extension == ".jsonl" || extension == ".csv";
}

}  // namespace

void PlateOptions::addTo(CLI::App& command, bool lens_required) {
    command.add_option("plates", plates, "Plates: files, folders, or name.####.exr with --frames")
        ->required()
        ->type_name("PLATES");
    auto* lens =
        command
            .add_option("--lens", lens_tracks,
                        "Lens track (OpenTrackIO JSON or CSV), or a lens table from calibrate; "
                        "may be repeated")
            ->expected(1)
            ->take_all()
            ->type_name("TRACK");
    if (lens_required) lens->required();
    command
        .add_option("--camera-report", camera_report,
                    "Camera report (CSV): poses, focus, T-stop, ISO, ND")
        ->type_name("FILE.csv");
    command.add_option("--frames", frames, "Frames of name.####.exr, e.g. 1001-1100")
        ->type_name("RANGE");
    command
        .add_option("--colour-space", colour_space,
                    "The plates' colour space, when their files do not say it")
        ->type_name("NAME");
    command.add_option("--focal", focal_mm, "Focal length in mm, for plates that do not say it")
        ->check(CLI::PositiveNumber)
        ->type_name("MM");
    command
        .add_option("--sensor", sensor, "Active sensor area in mm, for plates that do not say it")
        ->type_name("WxH");
}

stitch::PlateArguments PlateOptions::arguments() const {
    stitch::PlateArguments arguments;
    // `--lens A B plates...` reads naturally: what is a track by its name goes with the tracks.
    for (const auto& name : plates)
        if (isTrack(name))
            arguments.lens_tracks.emplace_back(name);
        else
            arguments.plates.push_back(name);
    arguments.lens_tracks.insert(arguments.lens_tracks.begin(), lens_tracks.begin(),
                                 lens_tracks.end());
    if (!camera_report.empty()) arguments.report = camera_report;
    if (!frames.empty()) arguments.frames = io::parseFrameRange(frames);
    arguments.colour_space = colour_space;
    if (focal_mm > 0) arguments.focal_mm = focal_mm;
    if (!sensor.empty()) arguments.sensor_width_mm = parseSensor(sensor).width_mm;
    return arguments;
}

void SolveOptions::addTo(CLI::App& command) {
    command.add_option("--level", level, "How the horizon is found")
        ->check(CLI::IsMember({"auto", "poses", "horizon", "none"}))
        ->capture_default_str();
    command.add_option("--north", north, "The plate that looks to pan 0")->type_name("PLATE");
    command.add_option("--threads", threads, "Threads to use; 0 uses all")
        ->check(CLI::NonNegativeNumber)
        ->capture_default_str();
}

stitch::SolveSettings SolveOptions::settings() const {
    stitch::SolveSettings settings;
    settings.level = level == "poses"     ? stitch::Level::poses
                     : level == "horizon" ? stitch::Level::horizon
                     : level == "none"    ? stitch::Level::none
                                          : stitch::Level::automatic;
    settings.threads = threads;
    return settings;
}

SensorSize parseSensor(const std::string& text) {
    SensorSize size;
    char rest = 0;
    const int fields =
        std::sscanf(text.c_str(), "%lfx%lf%c", &size.width_mm, &size.height_mm, &rest);
    if ((fields != 1 && fields != 2) || !(size.width_mm > 0) ||
        (fields == 2 && !(size.height_mm > 0)))
        throw io::InputError("--sensor " + text, "expected the active area in mm, e.g. 36x20.25");
    return size;
}

stitch::FrameSize parseSize(const std::string& text) {
    stitch::FrameSize size;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%dx%d%c", &size.width, &size.height, &rest) != 2)
        throw io::InputError("--size " + text,
                             "expected width and height in pixels, e.g. 4096x2160");
    return size;
}

std::optional<double> parseOverscan(const std::string& text) {
    if (text.empty() || text == "auto") return std::nullopt;
    double factor = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf%c", &factor, &rest) != 1 || !(factor >= 1 && factor <= 5))
        throw io::InputError("--overscan " + text,
                             "expected auto, or how much larger than the frame: 1 to 5, e.g. 1.1");
    return factor;
}

void addResume(CLI::App& command, bool& resume) {
    command.add_flag("--resume", resume,
                     "Keep frames that an earlier run finished with the same lens and settings");
}

void addUvMaps(CLI::App& command, std::string& folder) {
    command
        .add_option("--uv-map", folder,
                    "Also write UV and shading maps here, both ways, for other packages")
        ->type_name("DIR");
}

std::pair<double, double> parseBand(const std::string& option, const std::string& text) {
    double low = 0, high = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf:%lf%c", &low, &high, &rest) != 2 || !(low < high))
        throw io::InputError(option + " " + text, "expected LOW:HIGH in degrees, e.g. -40:40");
    return {low, high};
}

std::pair<double, double> parsePans(const std::string& option, const std::string& text) {
    double from = 0, to = 0;
    char rest = 0;
    const bool read = std::sscanf(text.c_str(), "%lf:%lf%c", &from, &to, &rest) == 2;
    if (read && to < from) to += 360;
    if (!read || !(from < to) || to - from > 360 || std::abs(from) > 360)
        throw io::InputError(option + " " + text,
                             "expected FROM:TO in degrees, e.g. -90:90, or 150:-150 through 180");
    return {from, to};
}

}  // namespace plateloom::cli
