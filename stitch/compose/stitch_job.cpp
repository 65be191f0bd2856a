#include "stitch/compose/stitch_job.h"

#include <algorithm>
#include <cmath>

#include "calib/angle.h"
#include "io/display_picture.h"
#include "io/input_error.h"
#include "io/new_file.h"
#include "io/shown_text.h"
#include "stitch/compose/exposure.h"
#include "stitch/compose/light_balance.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/bad_pixels.h"
#include "stitch/plates/job_inputs.h"
#include "stitch/plates/working_primaries.h"

namespace plateloom::stitch {

namespace {

using calib::kDegPerRad;
constexpr double kSteepest_deg = 80;  // tan grows without end: a cylinder's band stops here

std::optional<int> findPlate(const PlateSet& set, const std::string& name) {
    for (size_t i = 0; i < set.plates.size(); ++i) {
        const auto& path = set.plates[i].file.path;
        if (path.filename() == name || path.stem() == name || path == name) return int(i);
    }
    return std::nullopt;
}

void addGains(const PlateSet& set, Solve& solve, PlateStore& store, const Progress& progress) {
    StageClock clock(progress);
    clock.begin("exposure");
    auto balance = balanceLight(set.plates, store, solve.plates);
    for (const auto& plate : solve.plates)
        if (plate.placed) clock.add(double(plate.sensor.width_px) * plate.sensor.height_px);
    solve.notes.insert(solve.notes.end(), balance.notes.begin(), balance.notes.end());
    solve.warnings.insert(solve.warnings.end(), balance.warnings.begin(), balance.warnings.end());
    clock.end();
    solve.times.push_back(clock.times().front());
}

Solve solveSet(const PlateSet& set, PlateStore& store, const SolveRequest& request,
               const Progress& progress) {
    SolveSettings settings = request.settings;
    if (!request.north.empty()) {
        settings.north = findPlate(set, request.north);
        if (!settings.north)
            throw io::InputError("--north " + request.north,
                                 "no plate of that name among the plates given");
    }
    Solve solve = solvePlates(set, store, settings, progress);
    addGains(set, solve, store, progress);
    solve.notes.insert(solve.notes.begin(), set.notes.begin(), set.notes.end());
    solve.warnings.insert(solve.warnings.begin(), set.warnings.begin(), set.warnings.end());
    return solve;
}

// Tilts of the frame's edge, degrees: lowest and highest over all plates.
std::pair<double, double> tiltReach_deg(const std::vector<PlacedPlate>& plates) {
    double low = 90, high = -90;
    for (const auto& plate : plates) {
        const auto& s = plate.lens.sensor();
        for (int i = 0; i <= 16; ++i)
            for (const auto& px : {calib::Vector2d(s.width_px * i / 16.0, 0),
                                   calib::Vector2d(s.width_px * i / 16.0, s.height_px)}) {
                const auto ray = plate.lens.rayFromRecorded(px);
                if (!ray) continue;
                const double tilt = std::asin(plate.directionFromCamera(*ray).z()) * kDegPerRad;
                low = std::min(low, tilt);
                high = std::max(high, tilt);
            }
    }
    return {low, high};
}

// Tags that the panorama takes over from its plates.
io::PictureTags panoramaTags(const PlateSet& set, const PanoramaGrid& grid) {
    const auto& first = set.plates.front().file;
    io::PictureTags tags = io::tagsOf(first);
    if (grid.projection == Projection::equirectangular)
        tags.latlong = true;
    else
        tags.cylinder = {grid.top_tan, grid.bottom_tan};
    tags.pixel_aspect = 1;  // the panorama's own pixels are square
    return tags;
}

PlateSet gatherForOnePicture(const PlateArguments& arguments) {
    PlateSet set = gatherPlates(arguments);
    std::vector<io::PlateFile*> files;
    for (auto& plate : set.plates) files.push_back(&plate.file);
    const auto found = useOnePrimaries(files, arguments.working_space);
    set.notes.insert(set.notes.end(), found.notes.begin(), found.notes.end());
    set.warnings.insert(set.warnings.end(), found.warnings.begin(), found.warnings.end());
    return set;
}

void writePreview(const std::filesystem::path& path, const io::Picture& linear) {
    io::writeDisplayPicture(path, io::displayPicture(linear, io::displayExposure({&linear})),
                            io::Made::preview);
}

// Plates that a report is made of stay behind, small, as the job reads them.
PlateStore storeOf(const PlateSet& set, JobRecord* record) {
    if (!record) return PlateStore(set.plates);
    record->plates = set.plates;
    record->small = std::make_unique<SmallPlates>(set.plates);
    return PlateStore(record->small->reader());
}

// Plates with holes where their files hold NaN or infinity; told once all of them have been read.
void tellBadPixels(const PlateSet& set, const PlateStore& store, Solve& solve) {
    for (size_t i = 0; i < set.plates.size(); ++i) {
        const io::PlateFile& file = set.plates[i].file;
        const size_t bad = store.badPixels(int(i)), pixels = size_t(file.width) * file.height;
        if (bad == 0) continue;
        solve.warnings.push_back(badPixelsInWords(file.name(), bad, pixels));
        solve.needs_a_look = solve.needs_a_look || areHoles(bad, pixels);
    }
}

void checkOutputs(const StitchRequest& request) {
    io::OutputGuard outputs = request.solve.outputs;
    addInputs(outputs, request.solve.plates);
    outputs.writes(request.output, io::Made::panorama);
    if (request.preview) outputs.writes(*request.preview, io::Made::preview);
    if (request.solve_file) {
        if (std::filesystem::exists(*request.solve_file))
            outputs.reads(*request.solve_file);
        else
            outputs.writes(*request.solve_file, io::Made::solve);
    }
    outputs.check();
}

}  // namespace

Solve adoptSolve(const PlateSet& set, const std::vector<io::SolvedPlate>& solved) {
    Solve solve;
    for (const auto& plate : set.plates) {
        const auto name = plate.file.path.filename().string();
        const auto found = std::find_if(solved.begin(), solved.end(), [&](const auto& s) {
            return s.file == io::validUtf8(name);
        });
        if (found == solved.end()) {
            io::SolvedPlate missing;
            missing.file = name;
            missing.why_not = "not in the solve file";
            solve.plates.push_back(missing);
            solve.warnings.push_back(name + ": not in the solve file, left out");
            continue;
        }
        solve.plates.push_back(*found);
        auto& sensor = solve.plates.back().sensor;
        if (!(sensor.width_mm > 0)) sensor = plate.sensor;
        // The picture's own size counts: a half-size proxy of the solved plate has the same sensor.
        sensor.width_px = plate.file.width;
        sensor.height_px = plate.file.height;
    }
    for (const auto& plate : solve.plates) solve.rms_px = std::max(solve.rms_px, plate.rms_px);
    return solve;
}

PanoramaGrid panoramaGrid(const std::vector<PlacedPlate>& plates, const StitchRequest& request) {
    PanoramaGrid grid;
    grid.projection = request.projection;
    grid.width = request.width > 0 ? request.width : nativeWidth(plates);
    if (grid.width < 16 || grid.width > 262144)
        throw io::InputError("--width " + std::to_string(grid.width),
                             "a panorama is 16 to 262144 pixels wide");
    if (grid.projection == Projection::equirectangular) {
        grid.width += grid.width % 2;
        grid.height = grid.width / 2;
        return grid;
    }
    const auto [low, high] = tiltReach_deg(plates);
    const double top = request.top_deg.value_or(std::min(high, kSteepest_deg));
    const double bottom = request.bottom_deg.value_or(std::max(low, -kSteepest_deg));
    if (std::max(std::abs(top), std::abs(bottom)) > kSteepest_deg || top <= bottom)
        throw io::InputError("--tilt",
                             "a cylindrical panorama shows a band within -80:80, low before high");
    grid.top_tan = std::tan(top / kDegPerRad);
    grid.bottom_tan = std::tan(bottom / kDegPerRad);
    grid.height =
        std::max(1, int(std::lround((grid.top_tan - grid.bottom_tan) * grid.pixelsPerRadian())));
    return grid;
}

Solve solveJob(const SolveRequest& request, const Progress& progress, JobRecord* record) {
    io::OutputGuard outputs = request.outputs;
    addInputs(outputs, request.plates);
    outputs.check();
    const PlateSet set = gatherForOnePicture(request.plates);
    PlateStore store = storeOf(set, record);
    Solve solve = solveSet(set, store, request, progress);
    tellBadPixels(set, store, solve);
    return solve;
}

StitchResult stitchJob(const StitchRequest& request, const Progress& progress, JobRecord* record) {
    checkOutputs(request);
    // Whatever can't be written is found now, not after the work.
    io::NewFile(request.output);
    if (request.solve_file) io::NewFile(*request.solve_file);
    if (request.preview) io::NewFile(*request.preview);
    const PlateSet set = gatherForOnePicture(request.solve.plates);
    PlateStore store = storeOf(set, record);
    StitchResult result;
    result.solve_was_read = request.solve_file && std::filesystem::exists(*request.solve_file);
    result.solve = result.solve_was_read ? adoptSolve(set, io::readSolve(*request.solve_file))
                                         : solveSet(set, store, request.solve, progress);
    if (request.solve_file && !result.solve_was_read)
        io::writeSolve(*request.solve_file, result.solve.plates);

    const auto plates = placedPlates(result.solve.plates);
    if (plates.empty()) {
        const auto& why = result.solve.plates.front().why_not;
        throw io::InputError(set.plates.front().file.path.string(),
                             "no plate could be placed, so there is no panorama to write" +
                                 (why.empty() ? std::string() : " (" + why + ")"));
    }
    result.grid = panoramaGrid(plates, request);

    io::PanoramaWriter::Format format{result.grid.width, result.grid.height, 256, request.half,
                                      true};
    io::PanoramaWriter writer(request.output, format, panoramaTags(set, result.grid));
    ComposeSettings settings;
    settings.grid = result.grid;
    settings.tile = request.tile;
    settings.threads = request.threads;
    if (request.preview || record)
        settings.preview_width = size_t(std::min(2048, result.grid.width));
    auto composed = compose(plates, store, settings, writer, progress);
    writer.finish();
    if (writer.beyondHalf() > 0)
        result.solve.warnings.push_back(
            beyondHalfInWords(request.output.filename().string(), writer.beyondHalf()));
    tellBadPixels(set, store, result.solve);
    if (request.preview) writePreview(*request.preview, composed.preview);

    result.covered_share = composed.covered_share;
    auto& times = result.solve.times;
    times.insert(times.end(), composed.times.begin(), composed.times.end());
    // The page turns a whole sphere; a cylinder's band is none.
    if (record && request.projection == Projection::equirectangular)
        record->panorama = std::move(composed.preview);
    return result;
}

}  // namespace plateloom::stitch
