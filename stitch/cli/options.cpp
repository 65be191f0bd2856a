#include "stitch/cli/options.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <cstdio>

#include "io/input_error.h"
#include "stitch/cli/exit_status.h"

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

bool isFinite(const std::string& text, double* value) {
    const char* end = text.data() + text.size();
    const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
    const auto read = std::from_chars(begin, end, *value);
    return read.ec == std::errc() && read.ptr == end && std::isfinite(*value);
}

}  // namespace

CLI::Validator positiveNumber() {
    return {[](const std::string& text) {
                double value = 0;
                return isFinite(text, &value) && value > 0 ? std::string()
                                                           : "expected a number above 0";
            },
            "", "positive"};
}

CLI::Validator finiteNumber() {
    return {[](const std::string& text) {
                double value = 0;
                return isFinite(text, &value) ? std::string() : "expected a number";
            },
            "", "finite"};
}

void addThreads(CLI::App& command, int& threads) {
    constexpr int kMostThreads = 1024;  // beyond any machine; each takes memory
    command.add_option("--threads", threads, "Threads to use; 0 uses all")
        ->check(CLI::Range(0, kMostThreads))
        ->capture_default_str();
}

void PlateOptions::addTo(CLI::App& command, bool lens_required, bool one_picture) {
    command
        .add_option("plates", plates,
                    "Plates: files, folders, name.####.exr (all frames, or those of --frames)")
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
    addFrames(command, frames, "Frames of name.####.exr, e.g. 1001-1100");
    command
        .add_option("--colour-space", colour_space,
                    "The plates' colour space, when their files do not say it")
        ->type_name("NAME");
    if (one_picture)
        command
            .add_option("--working-space", working_space,
                        "Primaries of the panorama, as a colour space's name (default: the first "
                        "plate's; plates of others are converted)")
            ->type_name("NAME");
    command.add_option("--focal", focal_mm, "Focal length in mm, for plates that do not say it")
        ->check(positiveNumber())
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
    arguments.working_space = working_space;
    if (focal_mm > 0) arguments.focal_mm = focal_mm;
    if (!sensor.empty()) arguments.sensor_width_mm = parseSensor(sensor).width_mm;
    return arguments;
}

void SolveOptions::addTo(CLI::App& command) {
    command.add_option("--level", level, "How the horizon is found")
        ->check(CLI::IsMember({"auto", "poses", "horizon", "none"}))
        ->capture_default_str();
    command.add_option("--north", north, "The plate that looks to pan 0")->type_name("PLATE");
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
    auto* option =
        command
            .add_option("--clips", clips,
                        "The plates are clips (name.####.exr, movies, folders of them): of an "
                        "array of cameras that rolled together, or shot in turn, a take for each "
                        "direction")
            ->check(CLI::IsMember({"array", "in-turn"}));
    command
        .add_option("--offset", offsets,
                    "Moves a clip later by some frames against what its timecode, or its first "
                    "frame, says; may be repeated")
        ->expected(1)
        ->take_all()
        ->needs(option)
        ->check(
            [](const std::string& text) {
                return splitOffset(text) ? std::string()
                                         : "expected a clip and frames, e.g. cam3=-2";
            },
            "")
        ->type_name("CLIP=FRAMES");
    command
        .add_option("--sync", sync,
                    "What ties clips in time: auto takes timecode where all have it; first-frame "
                    "ties their first frames, whatever the timecodes say")
        ->needs(option)
        ->check(CLI::IsMember({"auto", "first-frame"}))
        ->capture_default_str();
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

std::optional<stitch::Chunk> parseChunk(const std::string& text) {
    stitch::Chunk chunk;
    char rest = 0;
    long long number = 0, of = 0;
    if (std::sscanf(text.c_str(), "%lld/%lld%c", &number, &of, &rest) != 2) return std::nullopt;
    constexpr long long kMost = 1'000'000;
    if (number < 1 || of < number || of > kMost) return std::nullopt;
    return stitch::Chunk{number, of};
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
                    "Make this part of the frames only, for a job that several machines share: "
                    "2/4 is the second of four runs; together they make all frames")
        ->check(
            [](const std::string& text) {
                return parseChunk(text) ? std::string()
                                        : "expected K/N, the K-th of N parts, e.g. 2/4";
            },
            "")
        ->type_name("K/N");
}

SensorSize parseSensor(const std::string& text) {
    SensorSize size;
    char rest = 0;
    const int fields =
        std::sscanf(text.c_str(), "%lfx%lf%c", &size.width_mm, &size.height_mm, &rest);
    const auto is_length = [](double mm) { return mm > 0 && std::isfinite(mm); };
    if ((fields != 1 && fields != 2) || !is_length(size.width_mm) ||
        (fields == 2 && !is_length(size.height_mm)))
        throw OptionError("--sensor " + text, "expected the active area in mm, e.g. 36x20.25");
    return size;
}

stitch::FrameSize parseSize(const std::string& text) {
    stitch::FrameSize size;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%dx%d%c", &size.width, &size.height, &rest) != 2)
        throw OptionError("--size " + text, "expected width and height in pixels, e.g. 4096x2160");
    return size;
}

std::optional<double> parseOverscan(const std::string& text) {
    if (text.empty() || text == "auto") return std::nullopt;
    double factor = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf%c", &factor, &rest) != 1 || !(factor >= 1 && factor <= 5))
        throw OptionError("--overscan " + text,
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
    if (std::sscanf(text.c_str(), "%lf:%lf%c", &low, &high, &rest) != 2 || !(low < high) ||
        !std::isfinite(low) || !std::isfinite(high))
        throw OptionError(option + " " + text, "expected LOW:HIGH in degrees, e.g. -40:40");
    return {low, high};
}

std::pair<double, double> parsePans(const std::string& option, const std::string& text) {
    double from = 0, to = 0;
    char rest = 0;
    const bool read = std::sscanf(text.c_str(), "%lf:%lf%c", &from, &to, &rest) == 2;
    if (read && to < from) to += 360;
    if (!read || !(from < to) || to - from > 360 || std::abs(from) > 360)
        throw OptionError(option + " " + text,
                          "expected FROM:TO in degrees, e.g. -90:90, or 150:-150 through 180");
    return {from, to};
}

}  // namespace plateloom::cli
