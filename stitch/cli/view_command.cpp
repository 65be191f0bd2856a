#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "io/numbered_files.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/view/view_job.h"

namespace plateloom::cli {

namespace {

struct ViewCommandOptions {
    std::string panorama, track, lens, output, look = "lens", overscan, size, sensor, frames,
                                               projection, band, colour_space, depth = "half",
                                               sheet, uv_maps, chunk;
    std::vector<std::string> shot;
    double pan_deg = 0, tilt_deg = 0, roll_deg = 0, focal_mm = 0;
    int64_t first_frame = -1, slip = 0;
    int threads = 0, cache_mb = 512;
    bool resume = false;
};

stitch::PanoramaClaim claimOf(const ViewCommandOptions& options) {
    stitch::PanoramaClaim claim;
    if (!options.projection.empty())
        claim.projection = options.projection == "cylindrical"
                               ? stitch::Projection::cylindrical
                               : stitch::Projection::equirectangular;
    if (!options.band.empty()) {
        const auto [low_deg, high_deg] = parseBand("--band", options.band);
        claim.band = stitch::cylinderBand(low_deg, high_deg);
    }
    return claim;
}

stitch::ViewRequest requestOf(const ViewCommandOptions& options) {
    stitch::ViewRequest request;
    request.panorama = options.panorama;
    request.claim = claimOf(options);
    request.colour_space = options.colour_space;
    if (!options.track.empty()) request.track = options.track;
    if (!options.lens.empty()) request.lens_table = options.lens;
    request.still = {options.pan_deg, options.tilt_deg, options.roll_deg};
    request.shot = options.shot;
    if (!options.frames.empty()) request.frames = io::parseFrameRange(options.frames);
    if (options.first_frame >= 0) request.first_frame = options.first_frame;
    if (options.focal_mm > 0) request.focal_mm = options.focal_mm;
    if (!options.sensor.empty()) request.sensor_width_mm = parseSensor(options.sensor).width_mm;
    if (!options.size.empty()) request.size = parseSize(options.size);
    request.look = options.look == "flat" ? stitch::Look::flat : stitch::Look::lens;
    request.overscan = parseOverscan(options.overscan);
    request.output = options.output;
    if (!options.sheet.empty()) request.sheet = options.sheet;
    if (!options.uv_maps.empty()) request.uv_maps = options.uv_maps;
    request.resume = options.resume;
    request.slip = options.slip;
    request.chunk = parseChunk(options.chunk);
    request.half = options.depth == "half";
    request.cache_bytes = size_t(options.cache_mb) << 20;
    request.threads = options.threads;
    return request;
}

// Numbers beyond any frame counter's would overflow what is added to them.
constexpr int64_t kMostFrame = int64_t(1) << 40;

// Cover that no rounding of a percentage may hide.
std::string share(double covered) {
    return covered >= 1 ? "100 %" : percent(std::min(covered, 0.999));
}

void tellHoles(const stitch::ViewResult& result) {
    std::vector<int64_t> numbers;
    const stitch::ViewResult::Frame* worst = nullptr;
    for (const auto& frame : result.frames) {
        if (frame.covered >= 1) continue;
        numbers.push_back(frame.number);
        if (!worst || frame.covered < worst->covered) worst = &frame;
    }
    if (!worst) return;
    warn("the panorama does not cover all of " + io::framesInWords(numbers) + "; least at " +
         std::to_string(worst->number) + ": " + share(worst->covered) + " (alpha is 0 there)");
}

void tellMissing(const stitch::ViewResult& result) {
    constexpr size_t kMostLines = 8;
    for (size_t i = 0; i < std::min(result.missing.size(), kMostLines); ++i)
        warn("frame " + std::to_string(result.missing[i].number) +
             " was not made: " + result.missing[i].why);
    if (result.missing.size() > kMostLines)
        warn("and " + std::to_string(result.missing.size() - kMostLines) + " more frames");
}

void tell(const ViewCommandOptions& options, const stitch::ViewResult& result) {
    for (const auto& note : result.notes) say(note);
    for (const auto& warning : result.warnings) warn(warning);
    tellMissing(result);
    tellHoles(result);
    for (const auto& time : result.times) say(stageLine(time));
    const auto kept = std::count_if(result.frames.begin(), result.frames.end(),
                                    [](const auto& frame) { return frame.was_there; });
    const size_t wrote = result.frames.size() - size_t(kept);
    std::string line = "wrote " + std::to_string(wrote) + (wrote == 1 ? " view" : " views") +
                       " to " + options.output + ": " + std::to_string(result.size.width) + "x" +
                       std::to_string(result.size.height);
    const auto& b = result.bounds;
    if (b.width() != result.size.width || b.height() != result.size.height)
        line += ", with overscan " + std::to_string(b.width()) + "x" + std::to_string(b.height());
    if (kept) line += "; " + std::to_string(kept) + " were there already";
    say(line);
}

nlohmann::json summaryOf(const ViewCommandOptions& options, const stitch::ViewResult& result,
                         ExitStatus status) {
    nlohmann::json frames = nlohmann::json::array(), missing = nlohmann::json::array();
    for (const auto& frame : result.frames)
        frames.push_back({{"frame", frame.number},
                          {"file", frame.path.string()},
                          {"covered", frame.covered},
                          {"was_there", frame.was_there}});
    for (const auto& frame : result.missing)
        missing.push_back({{"frame", frame.number}, {"why", frame.why}});
    return {{"command", "view"},
            {"status", int(status)},
            {"panorama", options.panorama},
            {"width", result.size.width},
            {"height", result.size.height},
            {"frames", frames},
            {"missing", missing},
            {"notes", result.notes},
            {"warnings", result.warnings},
            {"stages", stagesOf(result.times)},
            {"peak_memory_bytes", peakMemory()}};
}

void view(const ViewCommandOptions& options, Run& run) {
    auto request = requestOf(options);
    request.outputs = run.outputs();
    ProgressBar bar;
    const auto result = stitch::viewJob(request, bar.callback());
    bar.wipe();
    tell(options, result);
    const bool whole = std::all_of(result.frames.begin(), result.frames.end(),
                                   [](const auto& frame) { return frame.covered >= 1; });
    run.status = whole && result.missing.empty() ? done : look_at_it;
    if (run.json) printJson(summaryOf(options, result, run.status));
}

void addCamera(CLI::App& command, ViewCommandOptions& options) {
    command
        .add_option("--camera", options.track,
                    "The shot's camera: OpenTrackIO JSON, or CSV with frame, pan_deg, tilt_deg, "
                    "roll_deg, focal_mm and so on")
        ->type_name("TRACK");
    command
        .add_option("--lens", options.lens,
                    "Lens table from calibrate, for what the track leaves out of the lens; the "
                    "track says focus, T-stop and focal length")
        ->type_name("LENS.json");
    command
        .add_option("--shot", options.shot,
                    "Recorded frames to match: their numbers, timecode and size")
        ->expected(1)
        ->take_all()
        ->type_name("FRAMES");
    addFrames(command, options.frames, "Frames to make, e.g. 1001-1100");
    command
        .add_option("--first-frame", options.first_frame,
                    "Number of the track's first frame, where it has no frame numbers")
        ->check(CLI::Range(int64_t(0), kMostFrame))
        ->type_name("N");
    auto* track = command.get_option("--camera");
    command.add_option("--pan", options.pan_deg, "A still's pan in degrees, positive to the left")
        ->check(finiteNumber())
        ->excludes(track);
    command.add_option("--tilt", options.tilt_deg, "A still's tilt in degrees, positive upward")
        ->check(finiteNumber())
        ->excludes(track);
    command.add_option("--roll", options.roll_deg, "A still's roll in degrees")
        ->check(finiteNumber())
        ->excludes(track);
    command
        .add_option("--focal", options.focal_mm,
                    "Focal length in mm, of a still or where the track does not say it")
        ->check(positiveNumber())
        ->type_name("MM");
    command
        .add_option("--sensor", options.sensor,
                    "Active sensor area in mm, of a still or where the track does not say it")
        ->type_name("WxH");
    command.add_option("--size", options.size, "Frame size in pixels, e.g. 4096x2160")
        ->type_name("WxH");
}

void addPicture(CLI::App& command, ViewCommandOptions& options) {
    command
        .add_option("--look", options.look,
                    "lens: with the lens's distortion and shading; flat: without either")
        ->check(CLI::IsMember({"lens", "flat"}))
        ->capture_default_str();
    command
        .add_option("--overscan", options.overscan,
                    "Of a flat view: auto (what its lens needs to be put back) or a factor, e.g. "
                    "1.1; auto unless said")
        ->type_name("auto|FACTOR");
    command.add_option("--depth", options.depth, "Sample format; float panoramas stay float")
        ->check(CLI::IsMember({"half", "float"}))
        ->capture_default_str();
    command
        .add_option("--projection", options.projection,
                    "The panorama's, when its file does not say it")
        ->check(CLI::IsMember({"equirectangular", "cylindrical"}));
    command
        .add_option("--band", options.band,
                    "Tilts that a cylindrical panorama shows, when its file does not say it")
        ->type_name("LOW:HIGH");
    command
        .add_option("--colour-space", options.colour_space,
                    "The panorama's colour space, when its file does not say it")
        ->type_name("NAME");
}

}  // namespace

void addView(CLI::App& program, Run& run) {
    auto options = std::make_shared<ViewCommandOptions>();
    auto* command =
        program.add_subcommand("view", "The panorama as the shot's camera sees it, frame by frame");
    command
        ->add_option("panorama", options->panorama,
                     "The panorama, of any program; pano.####.exr moves with the shot")
        ->required()
        ->type_name("PANO");
    command
        ->add_option("--slip", options->slip,
                     "Frames by which a moving panorama is moved on against the shot: the shot's "
                     "frame shows the panorama's frame that many later")
        ->check(CLI::Range(-kMostFrame, kMostFrame))
        ->type_name("N");
    addCamera(*command, *options);
    addPicture(*command, *options);
    command->add_option("-o,--output", options->output, "The views, e.g. bg.####.exr")
        ->required()
        ->type_name("FILE");
    command->add_option("--sheet", options->sheet, "Contact sheet of the shot")
        ->type_name("FILE.png");
    command->get_option("--sheet")->excludes(addChunk(*command, options->chunk));
    addUvMaps(*command, options->uv_maps);
    addResume(*command, options->resume);
    command
        ->add_option("--cache", options->cache_mb,
                     "MB of the panorama that are kept in memory: speed only, never the result")
        ->check(CLI::Range(16, 1 << 20))
        ->capture_default_str();
    addThreads(*command, options->threads);
    command->callback([options, &run] { view(*options, run); });
}

}  // namespace plateloom::cli
