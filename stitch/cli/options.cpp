#include "stitch/cli/options.h"

#include <algorithm>
#include <cctype>
#include <charconv>

#include "io/input_error.h"

namespace plateloom::cli {

namespace {

bool isTrack(const std::string& name) {
    std::string extension = std::filesystem::path(name).extension().string();
    std::transform(extension.begin(), extension.end(), extension.begin(),
                   [](unsigned char c) { return char(std::tolower(c)); });
    return extension == ".json" || extension == ".jsonl" || extension == ".csv";
}

// "cam3=-2" in two; nothing where it is neither.
std::optional<std::pair<std::string, int64_t>> splitOffset(const std::string& text) {
    const size_t equals = text.rfind('=');
    if (equals == std::string::npos || equals == 0) return std::nullopt;
    const char* begin = text.data() + equals + 1;
    if (*begin == '+') ++begin;
    const char* end = text.data() + text.size();
    int64_t frames = 0;
    const auto read = std::from_chars(begin, end, frames);
    if (begin == end || read.ec != std::errc() || read.ptr != end) return std::nullopt;
    return std::pair{text.substr(0, equals), frames};
}

}  // namespace

void addThreads(CLI::App& command, int& threads) {
    constexpr int kMostThreads = 1024;  // beyond any machine; each takes memory
    command.add_option("--threads", threads, "Number of threads; 0: one per processor")
        ->check(wholeNumber(0, kMostThreads))
        ->type_name("N")
        ->capture_default_str();
}

void addSensor(CLI::App& command, std::string& sensor, const std::string& when) {
    command.add_option("--sensor", sensor, "Active sensor area in mm" + when)
        ->type_name("WxH")
        ->group(kLens);
}

void addFocal(CLI::App& command, double& focal_mm, const std::string& when) {
    command.add_option("--focal", focal_mm, "Focal length in mm" + when)
        ->check(positiveNumber())
        ->type_name("MM")
        ->group(kLens);
}

CLI::Option* addNearest(CLI::App& command, double& nearest_m, const std::string& why) {
    return command
        .add_option("--nearest", nearest_m,
                    "Distance of the nearest object, in metres, or with a unit (12ft); " + why)
        ->transform(asMetres())
        ->check(positiveNumber())
        ->type_name("DISTANCE");
}

CLI::Option* addDepth(CLI::App& command, std::string& depth, const std::string& help) {
    return oneOf(command.add_option("--depth", depth, help), {"half", "float"})
        ->capture_default_str();
}

void PlateOptions::addTo(CLI::App& command, bool lens_required, bool one_picture) {
    command
        .add_option("plates", plates,
                    "Files, folders, or name.####.exr: all frames, or those of --frames")
        ->required()
        ->type_name("PLATES");
    addFrames(command, frames, "Frames of name.####.exr, e.g. 1001-1100");
    command
        .add_option("--camera-report", camera_report,
                    "Camera report: poses, focus, T-stop, ISO, ND filters")
        ->type_name("FILE.csv");
    command
        .add_option("--colour-space", colour_space,
                    "Colour space of the plates, where their files do not state it")
        ->type_name("NAME");
    if (one_picture)
        command
            .add_option("--working-space", working_space,
                        "Colour space whose primaries the panorama gets; plates of others are "
                        "converted (default: that of the first plate)")
            ->type_name("NAME");
    auto* lens = command
                     .add_option("--lens", lens_tracks,
                                 "Lens track (OpenTrackIO JSON or CSV), or a lens table from "
                                 "calibrate; repeatable")
                     ->expected(1)
                     ->take_all()
                     ->type_name("TRACK")
                     ->group(kLens);
    if (lens_required) lens->required();
    addFocal(command, focal_mm, ", for plates without lens data");
    addSensor(command, sensor, ", for plates without lens data");
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
    arguments.working_space = working_space;
    if (focal_mm > 0) arguments.focal_mm = focal_mm;
    if (!sensor.empty()) arguments.sensor_width_mm = parseSensor(sensor).width_mm;
    return arguments;
}

void SolveOptions::addTo(CLI::App& command) {
    oneOf(command.add_option("--level", level,
                             "Source of the horizon: the poses of report and track, the cameras' "
                             "own axes, none, or auto: poses where they are known"),
          {"auto", "poses", "horizon", "none"})
        ->capture_default_str()
        ->group(kSolve);
    command.add_option("--north", north, "Plate whose centre is at pan 0")
        ->type_name("PLATE")
        ->group(kSolve);
    addThreads(command, threads);
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

void TakeOptions::addTo(CLI::App& command) {
    auto* option = oneOf(command.add_option("--clips", clips,
                                            "The plates are clips (movies, name.####.exr, folders "
                                            "of frames): an array of cameras that rolled together, "
                                            "or one camera that shot a take per direction in turn"),
                         {"array", "in-turn"})
                       ->group(kClips);
    command
        .add_option("--offset", offsets,
                    "Frames to move a clip later against its timecode or first frame; "
                    "repeatable")
        ->expected(1)
        ->take_all()
        ->needs(option)
        ->check(
            [](const std::string& text) {
                return splitOffset(text) ? std::string()
                                         : "expected a clip and frames, e.g. cam3=-2";
            },
            "")
        ->type_name("CLIP=FRAMES")
        ->group(kClips);
    oneOf(command.add_option("--sync", sync,
                             "Synchronization: timecode where all clips have it (auto), or the "
                             "first frames, whatever the timecodes"),
          {"auto", "first-frame"})
        ->needs(option)
        ->capture_default_str()
        ->group(kClips);
}

stitch::TakeArguments TakeOptions::arguments(stitch::PlateArguments plates) const {
    stitch::TakeArguments arguments;
    arguments.plates = std::move(plates);
    arguments.rolled = clips == "in-turn" ? stitch::Rolled::in_turn : stitch::Rolled::array;
    arguments.sync = sync == "first-frame" ? stitch::Sync::first_frame : stitch::Sync::automatic;
    for (const std::string& text : offsets) {
        const auto offset = splitOffset(text);
        if (offset) arguments.offsets[offset->first] += offset->second;
    }
    return arguments;
}

void addFrames(CLI::App& command, std::string& frames, const char* help) {
    const auto fault = [](const std::string& text) -> std::string {
        try {
            (void)io::parseFrameRange(text);
            return {};
        } catch (const io::InputError&) {
            return "expected a range of frames, e.g. 1001-1100, or 1001 for one";
        }
    };
    command.add_option("--frames", frames, help)->check(fault, "")->type_name("RANGE");
}

CLI::Option* addChunk(CLI::App& command, std::string& chunk) {
    return command
        .add_option("--chunk", chunk,
                    "Part of the frames for this run, where several machines share a job: 2/4 is "
                    "the second of four")
        ->check(
            [](const std::string& text) {
                return parseChunk(text) ? std::string()
                                        : "expected K/N, the K-th of N parts, e.g. 2/4";
            },
            "")
        ->type_name("K/N");
}

CLI::Option* addResume(CLI::App& command, bool& resume) {
    return command.add_flag("--resume", resume,
                            "Keep frames that an earlier run finished with the same inputs and "
                            "settings");
}

void addUvMaps(CLI::App& command, std::string& folder) {
    command
        .add_option("--uv-map", folder,
                    "Folder for UV and shading maps, both ways, for other packages")
        ->type_name("DIR")
        ->group(kOutput);
}

}  // namespace plateloom::cli
