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
                                               projection, tilt, pose, colour_space, depth = "half",
                                               sheet, uv_maps, chunk;
    std::vector<std::string> shot;
    double focal_mm = 0;
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
    if (!options.tilt.empty()) {
        const auto [low_deg, high_deg] = parseTilts(options.tilt);
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
    if (!options.pose.empty()) request.still = parsePose(options.pose);
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
    constexpr const char* kCamera = "Camera";
    auto* track = command
                      .add_option("--camera", options.track,
                                  "Camera of the shot: OpenTrackIO JSON, or CSV with frame, "
                                  "pan_deg, tilt_deg, roll_deg, focal_mm and others")
                      ->type_name("TRACK")
                      ->group(kCamera);
    command
        .add_option("--pose", options.pose,
                    "Pose of a still in degrees: pan positive to the left, tilt upward, roll "
                    "clockwise as seen from behind the camera (default: 0,0,0)")
        ->excludes(track)
        ->type_name("PAN,TILT,ROLL")
        ->group(kCamera);
    command
        .add_option("--shot", options.shot,
                    "Recorded frames of the shot, for frame numbers, timecode and size")
        ->expected(1)
        ->take_all()
        ->type_name("FRAMES")
        ->group(kCamera);
    command
        .add_option("--first-frame", options.first_frame,
                    "Number of the track's first frame, where the track has no frame numbers")
        ->check(wholeNumber(0, kMostFrame))
        ->type_name("N")
        ->group(kCamera);
    command
        .add_option("--lens", options.lens,
                    "Lens table from calibrate, for lens data that the track lacks; the track "
                    "states focus, T-stop and focal length")
        ->type_name("LENS.json")
        ->group(kLens);
    addFocal(command, options.focal_mm, " of a still, or where the track does not state it");
    addSensor(command, options.sensor, " of a still, or where the track does not state it");
    command.add_option("--size", options.size, "Frame size in pixels, e.g. 4096x2160")
        ->type_name("WxH")
        ->group(kLens);
}

void addPanoramaFile(CLI::App& command, ViewCommandOptions& options) {
    command
        .add_option("panorama", options.panorama,
                    "Panorama of any program; pano.####.exr is a moving one")
        ->required()
        ->type_name("PANO.exr");
    addFrames(command, options.frames, "Frames to make, e.g. 1001-1100");
    constexpr const char* kPanorama = "Panorama";
    oneOf(command.add_option("--projection", options.projection,
                             "Projection, where the file does not state it"),
          {"equirectangular", "cylindrical"})
        ->group(kPanorama);
    command
        .add_option("--tilt", options.tilt,
                    "Tilts that a cylinder covers in degrees, where the file does not state them")
        ->type_name("LOW:HIGH")
        ->group(kPanorama);
    command
        .add_option("--colour-space", options.colour_space,
                    "Colour space, where the file does not state it")
        ->type_name("NAME")
        ->group(kPanorama);
    command
        .add_option("--slip", options.slip,
                    "Frame offset of a moving panorama: shot frame f shows panorama frame f + N")
        ->check(wholeNumber(-kMostFrame, kMostFrame))
        ->type_name("N")
        ->group(kPanorama);
}

void addPicture(CLI::App& command, ViewCommandOptions& options) {
    command.add_option("-o,--output", options.output, "Views, e.g. bg.####.exr")
        ->required()
        ->type_name("FILE")
        ->group(kOutput);
    oneOf(command.add_option("--look", options.look,
                             "With the lens's distortion and shading (lens), or without (flat)"),
          {"lens", "flat"})
        ->capture_default_str()
        ->group(kOutput);
    command
        .add_option("--overscan", options.overscan,
                    "Size of a flat view against the frame: a factor, or auto: as much as the "
                    "lens look needs (default: auto)")
        ->type_name("auto|FACTOR")
        ->group(kOutput);
    addDepth(command, options.depth, "Sample format; float panoramas stay float")->group(kOutput);
    addUvMaps(command, options.uv_maps);
    command.add_option("--sheet", options.sheet, "Contact sheet of the shot")
        ->type_name("FILE.png")
        ->group(kOutput);
}

}  // namespace

void addView(CLI::App& program, Run& run) {
    auto options = std::make_shared<ViewCommandOptions>();
    auto* command =
        program.add_subcommand("view", "The panorama as a shot's camera sees it, frame by frame");
    addPanoramaFile(*command, *options);
    addCamera(*command, *options);
    addPicture(*command, *options);
    addResume(*command, options->resume);
    command->get_option("--sheet")->excludes(addChunk(*command, options->chunk));
    command
        ->add_option("--cache", options->cache_mb,
                     "Memory for pixels of the panorama in MB; affects speed, not the result")
        ->check(wholeNumber(16, 1 << 20))
        ->type_name("MB")
        ->capture_default_str();
    addThreads(*command, options->threads);
    command->callback([options, &run] { view(*options, run); });
}

}  // namespace plateloom::cli
