#include "stitch/moving/stitch_take.h"

#include <tbb/global_control.h>
#include <tbb/task_group.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "io/display_picture.h"
#include "io/input_error.h"
#include "io/made_picture.h"
#include "io/new_file.h"
#include "stitch/job/recipe.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/bad_pixels.h"

namespace plateloom::stitch {

namespace {

PanoramaGrid gridFor(const TakeStitchRequest& request, const TakeSolve& solve) {
    StitchRequest still;
    still.projection = request.projection;
    still.width = request.width;
    still.top_deg = request.top_deg;
    still.bottom_deg = request.bottom_deg;
    return panoramaGrid(standingPlates(solve.solved), still);
}

io::PictureTags tagsFor(const Take& take, const PanoramaGrid& grid, int64_t frame) {
    const auto& first = take.clips.front().clip.first;
    io::PictureTags tags = io::tagsOf(first);
    tags.frame_rate = take.rate;
    tags.timecode_word.reset();
    if (const auto timecode = take.timecodeAt(frame))
        tags.timecode_word = io::smpteWord(*timecode, take.rate);
    if (grid.projection == Projection::equirectangular)
        tags.latlong = true;
    else
        tags.cylinder = {grid.top_tan, grid.bottom_tan};
    tags.pixel_aspect = 1;  // the panorama's own pixels are square
    return tags;
}

void addLabels(Recipe& recipe, const LabelMap& map) {
    // Runs: a map is a few hundred thousand cells and a few thousand runs.
    uint16_t last = kNoPlate;
    for (size_t i = 0; i < map.label.size(); ++i) {
        if (i > 0 && map.label[i] == last) continue;
        last = map.label[i];
        recipe.add({double(i), double(last)});
    }
}

// One that bears the job's recipe but is cut short may go.
void checkTakenUp(const TakeStitchRequest& request, const std::filesystem::path& frame,
                  const std::string& recipe) {
    if (io::recipeOf(frame) != recipe) request.outputs.mayReplace(frame, io::Made::panorama);
}

class Frames {
public:
    Frames(const TakeStitchRequest& request, const Take& take, const TakeSolve& solve,
           const PanoramaGrid& grid, const Progress& progress)
        : request_(request),
          take_(take),
          solve_(solve),
          grid_(grid),
          progress_(progress),
          overview_(overviewGrid(standingPlates(solve.solved), grid, kTakeOverviewAcross)),
          seams_(solve.seams.onGrid(overview_.width, overview_.height)) {}

    void run(int64_t first, int64_t last, TakeStitchResult& result) {
        std::shared_ptr<Ready> ready = open(first);
        for (int64_t frame = first; frame <= last; ++frame) {
            progress_("frames", double(frame - first) / double(last - first + 1));
            const std::shared_ptr<Ready> now = ready;
            // The next frame's plates are read while this one is composed.
            tbb::task_group reading;
            std::exception_ptr trouble;
            if (frame < last)
                reading.run([&, frame] {
                    try {
                        ready = open(frame + 1);
                    } catch (...) {
                        trouble = std::current_exception();
                    }
                });
            try {
                finish(*now, result);
            } catch (...) {
                reading.wait();
                throw;
            }
            reading.wait();
            if (trouble) std::rethrow_exception(trouble);
        }
        progress_("frames", 1);
    }

private:
    struct Ready {
        TakeFrame frame;
        LabelBlend seams;
        std::filesystem::path path;
        std::string recipe;
        bool made = false;  // there already, and whole
        bool previewed = false;
    };

    std::shared_ptr<Ready> open(int64_t frame) {
        auto ready = std::make_shared<Ready>();
        ready->frame = takeFrame(take_, solve_.solved, frame);
        ready->seams = seams_.at(frame);
        ready->path = io::framePath(request_.output.string(), frame);
        ready->recipe = recipeOf(*ready);
        if (request_.resume) {
            ready->made = io::isMade(ready->path, ready->recipe);
            ready->previewed = !request_.preview || std::filesystem::exists(io::framePath(
                                                        request_.preview->string(), frame));
        }
        if (ready->made && ready->previewed) return ready;
        if (request_.resume) {
            checkTakenUp(request_, ready->path, ready->recipe);
            if (request_.preview)
                request_.outputs.mayReplace(io::framePath(request_.preview->string(), frame),
                                            io::Made::preview);
        }
        for (size_t i = 0; i < ready->frame.plates.size(); ++i)
            (void)ready->frame.store->get(int(i));
        return ready;
    }

    [[nodiscard]] std::string recipeOf(const Ready& ready) const {
        Recipe recipe("stitch");
        recipe.add({double(int(grid_.projection)), double(grid_.width), double(grid_.height),
                    grid_.top_tan, grid_.bottom_tan, double(request_.half),
                    double(ready.seams.share)});
        addLabels(recipe, ready.seams.map);
        if (ready.seams.passes()) addLabels(recipe, ready.seams.next);
        for (size_t i = 0; i < ready.frame.plates.size(); ++i) {
            const auto& plate = ready.frame.plates[i];
            if (!ready.frame.absent[i]) recipe.addPlate(ready.frame.files[i]);
            recipe.add(plate.lens);
            for (int r = 0; r < 3; ++r)
                recipe.add({plate.worldFromCamera(r, 0), plate.worldFromCamera(r, 1),
                            plate.worldFromCamera(r, 2), plate.pupil_m[r],
                            double(plate.gain[size_t(r)])});
            if (!plate.distance) continue;
            recipe.add({plate.distance->inverse_m});
            for (const auto& at : plate.distance->at)
                recipe.add({at.direction.x(), at.direction.y(), at.direction.z(), at.inverse_m});
        }
        return recipe.text();
    }

    void finish(Ready& ready, TakeStitchResult& result) {
        if (ready.made && ready.previewed) {
            ++result.kept;
            result.each.push_back({ready.frame.frame, true, {}});
            return;
        }
        io::PictureTags tags = tagsFor(take_, grid_, ready.frame.frame);
        tags.recipe = ready.recipe;
        io::PanoramaWriter writer(ready.path, {grid_.width, grid_.height, 256, request_.half, true},
                                  tags);
        ComposeSettings settings;
        settings.grid = grid_;
        settings.tile = request_.tile;
        settings.threads = request_.threads;
        settings.preview_width = request_.preview ? size_t(std::min(1920, grid_.width)) : 0;
        settings.overview_across = kTakeOverviewAcross;
        settings.seams = [&](const Overview&) { return ready.seams; };
        const Composed composed = compose(ready.frame.plates, *ready.frame.store, settings, writer,
                                          [](const std::string&, double) {});
        writer.finish();
        tell(ready, writer, result);
        if (request_.preview)
            io::writeDisplayPicture(
                io::framePath(request_.preview->string(), ready.frame.frame),
                io::displayPicture(composed.preview, exposureFor(composed.preview)),
                io::Made::preview);
        ++result.made;
        result.covered_share = result.made == 1
                                   ? composed.covered_share
                                   : std::min(result.covered_share, composed.covered_share);
        addTimes(ready, composed.times, result);
    }

    // What is not finite in the frames that were read, or too bright for half.
    void tell(const Ready& ready, const io::PanoramaWriter& writer,
              TakeStitchResult& result) const {
        auto& warnings = result.solve.warnings;
        for (const PlacedPlate& plate : ready.frame.plates)
            if (const size_t bad = ready.frame.store->badPixels(plate.plate)) {
                const auto& sensor = plate.lens.sensor();
                warnings.push_back(
                    badPixelsInWords(ready.frame.files[size_t(plate.plate)].name(), bad,
                                     size_t(sensor.width_px) * size_t(sensor.height_px)));
            }
        if (writer.beyondHalf() > 0)
            warnings.push_back(
                beyondHalfInWords(ready.path.filename().string(), writer.beyondHalf()));
    }

    // One exposure for the whole take, so that pictures for display do not flicker.
    [[nodiscard]] float exposureFor(const io::Picture& preview) const {
        constexpr double kMiddleGrey = 0.18;
        return solve_.typical_light > 0 ? float(kMiddleGrey / solve_.typical_light)
                                        : io::displayExposure({&preview});
    }

    static void addTimes(const Ready& ready, const std::vector<StageTime>& times,
                         TakeStitchResult& result) {
        const auto add = [&](const StageTime& time) {
            for (auto& known : result.times)
                if (known.stage == time.stage) {
                    known.seconds += time.seconds;
                    known.pixels += time.pixels;
                    return;
                }
            result.times.push_back(time);
        };
        FrameMade frame{ready.frame.frame, false, {}};
        frame.times.push_back(
            {"read", ready.frame.store->secondsReading(), ready.frame.store->pixelsRead()});
        frame.times.insert(frame.times.end(), times.begin(), times.end());
        for (const auto& time : frame.times) add(time);
        result.each.push_back(std::move(frame));
    }

    const TakeStitchRequest& request_;
    const Take& take_;
    const TakeSolve& solve_;
    PanoramaGrid grid_;
    const Progress& progress_;
    PanoramaGrid overview_;
    SeamPlan seams_;
};

// The frames to make, of those that the take has.
void keepAsked(const std::optional<io::FrameRange>& frames, const std::optional<Chunk>& chunk,
               TakeStitchResult& result) {
    const Take& take = result.take;
    result.first = frames ? std::max<int64_t>(take.first, frames->first) : take.first;
    result.last = frames ? std::min<int64_t>(take.last, frames->last) : take.last;
    if (result.last < result.first)
        throw io::InputError("--frames", "the take has frames " + std::to_string(take.first) +
                                             " to " + std::to_string(take.last) + " only");
    if (!chunk) return;
    const auto [begin, end] = chunkOf(result.last - result.first + 1, *chunk);
    result.last = result.first + int64_t(end) - 1;
    result.first += int64_t(begin);
}

void checkOutputs(const TakeStitchRequest& request, const TakeStitchResult& result) {
    io::OutputGuard outputs = request.outputs;
    addInputs(outputs, result.take, request.take);
    if (result.solve_was_read)
        outputs.reads(filesOfTakeSolve(request.solve_file));
    else
        addTakeSolve(outputs, request.solve_file);
    const auto add = [&](const std::filesystem::path& pattern, int64_t frame, io::Made kind) {
        const auto path = io::framePath(pattern.string(), frame);
        if (request.resume)
            outputs.takesUp(path);
        else
            outputs.writes(path, kind);
    };
    for (int64_t frame = result.first; frame <= result.last; ++frame) {
        add(request.output, frame, io::Made::panorama);
        if (request.preview) add(*request.preview, frame, io::Made::preview);
    }
    outputs.check();
}

}  // namespace

TakeStitchResult stitchTake(const TakeStitchRequest& request, const Progress& progress) {
    std::unique_ptr<tbb::global_control> limit;
    if (request.threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(request.threads));
    if (!io::namesFrames(request.output.string()))
        throw io::InputError(request.output.string(),
                             "a take makes one picture a frame: put #### where the frame number "
                             "goes, e.g. pano.####.exr");
    if (request.preview && !io::namesFrames(request.preview->string()))
        throw io::InputError(request.preview->string(), "put #### where the frame number goes");
    if (request.output.has_parent_path()) io::makeFolder(request.output.parent_path());
    if (request.preview && request.preview->has_parent_path())
        io::makeFolder(request.preview->parent_path());

    TakeStitchResult result;
    result.solve_was_read = std::filesystem::exists(request.solve_file);
    if (!result.solve_was_read && request.chunk)
        throw io::InputError(request.solve_file.string(),
                             "there is no such solve: chunks share one, so make it first with "
                             "`plateloom solve`");
    TakeArguments arguments = request.take;
    // Frames asked for are frames to make; a solve is of the whole take.
    const auto frames = arguments.plates.frames;
    arguments.plates.frames.reset();
    result.take = gatherTake(arguments);
    const Take& take = result.take;
    keepAsked(frames, request.chunk, result);
    checkOutputs(request, result);
    // Whatever can't be written is found now, not after the solve.
    io::NewFile(io::framePath(request.output.string(), take.first));
    if (!result.solve_was_read) {
        result.solve = solveTake(take, request.solve, progress);
        writeTakeSolve(request.solve_file, take, result.solve);
    }
    // Frames are made from what stands in the file, to the last bit, whoever makes them.
    TakeSolve solve = readTakeSolve(request.solve_file, take);
    setDistance(request.distance, take, solve);
    if (result.solve_was_read) {
        result.solve = solve;
        result.solve.notes = take.notes;
        if (request.solve.steady != Steady::none && request.solve.steady != solve.steady)
            result.solve.warnings.push_back(
                "--steady does nothing here: " + request.solve_file.string() +
                (solve.steady == Steady::none ? " leaves the shake in" : " was solved otherwise") +
                "; solve again with it");
        result.solve.warnings.insert(result.solve.warnings.begin(), take.warnings.begin(),
                                     take.warnings.end());
    } else {
        result.solve.solved.distance = solve.solved.distance;
        result.solve.warnings.insert(result.solve.warnings.end(), solve.warnings.begin(),
                                     solve.warnings.end());
    }
    result.grid = gridFor(request, solve);
    result.output = request.output;
    result.preview = request.preview;
    if (result.last >= result.first)
        Frames(request, take, solve, result.grid, progress).run(result.first, result.last, result);
    return result;
}

}  // namespace plateloom::stitch
