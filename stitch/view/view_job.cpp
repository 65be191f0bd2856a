#include "stitch/view/view_job.h"

#include <tbb/task_arena.h>

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <map>
#include <set>

#include "calib/said.h"
#include "io/file_name.h"
#include "io/half_rows.h"
#include "io/input_error.h"
#include "io/made_picture.h"
#include "io/movie_frames.h"
#include "io/new_file.h"
#include "stitch/flatten/lens_maps.h"
#include "stitch/job/recipe.h"
#include "stitch/job/stage_clock.h"
#include "stitch/plates/bad_pixels.h"
#include "stitch/view/contact_sheet.h"
#include "stitch/view/moving_panorama.h"
#include "stitch/view/view_lens.h"
#include "stitch/view/view_maps.h"

namespace plateloom::stitch {

namespace {

constexpr int kLongestEdge_px = 32768;

// A frame of the shot, ready to be looked through.
struct Shot {
    io::ShotFrame frame;
    int64_t panorama = 0;  // the panorama's frame
    calib::LensMap lens;
    PixelBounds bounds;
    std::filesystem::path path;
    std::string recipe;
};

// One frame; of a moving panorama one for each of its own, or those asked for.
io::ShotCamera stillCamera(const ViewRequest& request, const MovingPanorama& panorama) {
    if (!request.lens_table && (!request.focal_mm || !request.sensor_width_mm))
        throw io::InputError("", "a still needs --focal and --sensor (or give --camera TRACK)");
    io::ShotCamera camera;
    io::ShotFrame frame;
    frame.number = request.first_frame.value_or(1001);
    frame.sample.pose = request.still;
    frame.sample.lens.focal_mm = request.focal_mm.value_or(0);
    frame.sample.has_focal = request.focal_mm.has_value();
    // None, and that is known, unless a lens table tells of it.
    frame.sample.has_distortion = frame.sample.has_shading = !request.lens_table;
    frame.sample.sensor_width_mm = request.sensor_width_mm;
    frame.where = "the camera";
    if (!panorama.moves()) {
        camera.frames.push_back(frame);
        return camera;
    }
    for (const io::ShotFrame& moment : panorama.frames()) {
        const auto& wanted = request.frames;
        if (wanted && (moment.number < wanted->first || moment.number > wanted->last)) continue;
        frame.number = moment.number;
        frame.timecode = moment.timecode;
        frame.rate = moment.rate;
        camera.frames.push_back(frame);
    }
    if (camera.frames.empty())
        throw io::InputError(request.panorama.string(), "has none of the frames of --frames");
    return camera;
}

io::ShotCamera cameraOf(const ViewRequest& request, const std::vector<io::PlateFile>& recorded,
                        const MovingPanorama& panorama) {
    if (!request.track) return stillCamera(request, panorama);
    const auto track = io::readLensTrack(*request.track);
    auto camera = recorded.empty() ? io::shotCamera(track, request.frames, request.first_frame)
                                   : io::shotCamera(track, recorded);
    camera.warnings.insert(camera.warnings.begin(), track.warnings.begin(), track.warnings.end());
    return camera;
}

std::vector<io::PlateFile> recordedFrames(const ViewRequest& request,
                                          std::vector<std::string>* warnings) {
    std::vector<io::PlateFile> recorded;
    if (request.shot.empty()) return recorded;
    for (const auto& path : io::expandPlates(request.shot, request.frames)) {
        const auto frames = io::readPlateFrames(path, "", request.frames, warnings);
        recorded.insert(recorded.end(), frames.begin(), frames.end());
    }
    return recorded;
}

FrameSize sizeOf(const ViewRequest& request, const io::ShotCamera& camera,
                 const std::vector<io::PlateFile>& recorded) {
    FrameSize size;
    if (request.size) {
        size = *request.size;
    } else if (!recorded.empty()) {
        size = {recorded.front().width, recorded.front().height};
        for (const auto& file : recorded)
            if (file.width != size.width || file.height != size.height)
                throw io::InputError(file.path.string(),
                                     "has another size than the shot's first frame; give --size");
    } else {
        const auto& sample = camera.frames.front().sample;
        if (!sample.sensor_width_px || !sample.sensor_height_px)
            throw io::InputError("--size",
                                 "the camera track says nothing of the picture's size in "
                                 "pixels: give it, e.g. --size 4096x2160");
        size = {*sample.sensor_width_px, *sample.sensor_height_px};
    }
    if (size.width < 2 || size.height < 2 || size.width > kLongestEdge_px ||
        size.height > kLongestEdge_px)
        throw io::InputError(
            "--size " + std::to_string(size.width) + "x" + std::to_string(size.height),
            "a view is 2 to " + std::to_string(kLongestEdge_px) + " pixels wide and high");
    return size;
}

calib::Sensor sensorOf(const io::ShotFrame& frame, const ViewRequest& request,
                       const FrameSize& size) {
    const auto width_mm =
        frame.sample.sensor_width_mm ? frame.sample.sensor_width_mm : request.sensor_width_mm;
    if (!width_mm)
        throw io::InputError(frame.where,
                             "says nothing of the sensor's size: give --sensor, e.g. 36x20.25");
    const double square_mm = *width_mm * size.height / size.width;
    return {*width_mm, square_mm, size.width, size.height};
}

calib::LensMap lensOf(const io::ShotFrame& frame, const ViewRequest& request,
                      const FrameSize& size) {
    calib::Lens lens = frame.sample.lens;
    if (!frame.sample.has_focal) {
        if (!request.focal_mm)
            throw io::InputError(frame.where, "has no focal length: give --focal MM");
        lens.focal_mm = *request.focal_mm;
    }
    const auto sensor = sensorOf(frame, request, size);
    if (const auto fault = calib::faultOf(lens, sensor))
        throw io::InputError(frame.where, "its lens can't be used: " + *fault);
    return {lens, sensor};
}

PixelBounds boundsOf(const calib::LensMap& lens, const ViewRequest& request, bool* clamped) {
    if (request.look == Look::lens) return wholeFrame(lens.sensor());
    if (request.overscan) return enlargedFrame(lens.sensor(), *request.overscan);
    // Room for the filter that puts the distortion back.
    constexpr int kFilterMargin_px = 8;
    return overscanBounds(lens, clamped, kFilterMargin_px);
}

std::string recipeOf(const Shot& shot, const ViewRequest& request, const PanoramaGrid& grid,
                     const std::filesystem::path& panorama, const std::string& colour_space) {
    Recipe recipe("view");
    recipe.addFile(panorama);
    recipe.addConversion(colour_space);
    recipe.add({double(int(grid.projection)), double(grid.width), double(grid.height), grid.top_tan,
                grid.bottom_tan});
    recipe.add(shot.lens);
    const auto& pose = *shot.frame.sample.pose;
    recipe.add({pose.pan_deg, pose.tilt_deg, pose.roll_deg, double(int(request.look)),
                double(shot.bounds.x0), double(shot.bounds.y0), double(shot.bounds.x1),
                double(shot.bounds.y1), double(request.half)});
    return recipe.text();
}

void checkOutput(const ViewRequest& request, size_t frames) {
    const bool exr = io::isExrName(request.output);
    if (!exr && !io::isTiffName(request.output))
        throw io::InputError(request.output.string(),
                             "views are linear light: give the file the extension .exr or .tif");
    if (!exr && request.look == Look::flat)
        throw io::InputError(request.output.string(),
                             "overscan needs a data window, which only EXR has: write .exr");
    if (frames > 1 && !io::namesFrames(request.output.string()))
        throw io::InputError(request.output.string(),
                             "the shot has " + std::to_string(frames) +
                                 " frames: put #### where the frame number goes, e.g. bg.####.exr");
}

// The frames that the panorama has a frame for; the others are told in `missing`.
std::vector<Shot> tiedTo(MovingPanorama& panorama, const io::ShotCamera& camera,
                         std::vector<io::MissingFrame>& missing) {
    const auto choices = panorama.choicesFor(camera.frames);
    std::vector<Shot> shots;
    for (size_t i = 0; i < choices.size(); ++i) {
        if (!choices[i].number) {
            missing.push_back({camera.frames[i].number, choices[i].why});
            continue;
        }
        Shot shot;
        shot.frame = camera.frames[i];
        shot.panorama = *choices[i].number;
        shots.push_back(std::move(shot));
    }
    std::stable_sort(missing.begin(), missing.end(),
                     [](const auto& a, const auto& b) { return a.number < b.number; });
    return shots;
}

// Bounds, files and recipes of the shot's frames.
void planShot(std::vector<Shot>& shots, const ViewRequest& request, const FrameSize& size,
              const MovingPanorama& panorama, ViewResult& result) {
    std::set<std::filesystem::path> taken;
    size_t unknown_distortion = 0, unknown_shading = 0;
    bool any_clamped = false;
    for (Shot& shot : shots) {
        const io::ShotFrame& frame = shot.frame;
        shot.lens = lensOf(frame, request, size);
        unknown_distortion += !frame.sample.has_distortion;
        unknown_shading += !frame.sample.has_shading;
        bool clamped = false;
        shot.bounds = boundsOf(shot.lens, request, &clamped);
        any_clamped |= clamped;
        shot.path = io::namesFrames(request.output.string())
                        ? io::framePath(request.output.string(), frame.number)
                        : request.output;
        if (!taken.insert(shot.path).second)
            throw io::InputError(frame.where, "two frames of the shot have the number " +
                                                  std::to_string(frame.number));
        shot.recipe = recipeOf(shot, request, panorama.grid(), panorama.pathOf(shot.panorama),
                               panorama.file().colour_space);
    }
    const auto warn = [&](size_t count, const std::string& what) {
        if (count)
            result.warnings.push_back(
                (count == shots.size() ? "the camera track" : std::to_string(count) + " frames") +
                what);
    };
    if (request.look == Look::lens) warn(unknown_shading, ": no exposure falloff is known");
    if (request.look == Look::lens || !request.overscan)
        warn(unknown_distortion, ": no distortion is known");
    if (any_clamped) result.warnings.push_back("overscan cut at twice the frame");
    if (const double aspect = panorama.file().tags.pixel_aspect; aspect != 1)
        result.warnings.push_back(
            said("the panorama's header says that pixels are %.4g times as wide as they are high; "
                 "directions are taken from its size, and the views carry the attribute on",
                 aspect));
}

// Of a job that several machines share each tells of the missing frames among its own.
void keepChunk(const std::optional<Chunk>& chunk, std::vector<Shot>& shots,
               std::vector<io::MissingFrame>& missing) {
    if (!chunk) return;
    const auto [begin, end] = chunkOf(int64_t(shots.size()), *chunk);
    const auto starts_at = [&](int64_t index) {
        if (index == 0) return INT64_MIN;
        return index == int64_t(shots.size()) ? INT64_MAX : shots[size_t(index)].frame.number;
    };
    const int64_t from = starts_at(begin), to = starts_at(end);
    std::erase_if(missing, [&](const auto& m) { return m.number < from || m.number >= to; });
    shots = {shots.begin() + begin, shots.begin() + end};
}

io::PictureTags tagsFor(const Shot& shot, const io::PanoramaFile& panorama) {
    io::PictureTags tags = panorama.tags;
    tags.frame_rate = shot.frame.rate;
    if (shot.frame.timecode)
        tags.timecode_word = io::smpteWord(*shot.frame.timecode, shot.frame.rate);
    tags.recipe = shot.recipe;
    return tags;
}

// For the lens's own maps, both ways: to flatten what was recorded and to put the look back.
std::vector<Plate> platesOf(const std::vector<Shot>& shots) {
    std::vector<Plate> frames;
    for (const auto& shot : shots) {
        Plate frame;
        frame.file.path = shot.path;
        frame.sensor = shot.lens.sensor();
        frame.lens = shot.lens.lens();
        frames.push_back(std::move(frame));
    }
    return frames;
}

void checkOutputs(const ViewRequest& request, const MovingPanorama& panorama,
                  const std::vector<io::PlateFile>& recorded, const std::vector<Shot>& all_shots,
                  const std::vector<Shot>& shots) {
    io::OutputGuard outputs = request.outputs;
    if (!panorama.moves()) outputs.reads(request.panorama);
    for (const int64_t number : panorama.numbers()) outputs.reads(panorama.pathOf(number));
    if (request.track) outputs.reads(*request.track);
    for (const auto& file : recorded) outputs.reads(file.path);
    for (const Shot& shot : shots) {
        if (request.resume)
            outputs.takesUp(shot.path);
        else
            outputs.writes(shot.path, io::Made::view);
        if (!request.uv_maps) continue;
        for (const auto& map : viewMapPaths(*request.uv_maps, shot.path, request.look))
            outputs.writes(map, io::Made::map);
    }
    if (request.uv_maps && isFirst(request.chunk))
        for (const auto& map : lensMapPaths(*request.uv_maps, platesOf(all_shots)))
            outputs.writes(map, io::Made::map);
    if (request.sheet) outputs.writes(*request.sheet, io::Made::sheet);
    outputs.check();
}

// One frame after the other; each is wholly written before the next begins.
class ViewRun {
public:
    ViewRun(const ViewRequest& request, MovingPanorama& panorama, const FrameSize& size,
            size_t frames, const Progress& progress)
        : request_(request), panorama_(panorama), size_(size), sheet_(frames), clock_(progress) {}

    ViewResult::Frame make(size_t index, const Shot& shot) {
        ViewResult::Frame made;
        made.number = shot.frame.number;
        made.path = shot.path;
        const ViewCamera camera{shot.lens, calib::worldFromCamera(*shot.frame.sample.pose)};
        if (request_.uv_maps) {
            clock_.begin("maps");
            const io::PanoramaReader& panorama = panorama_.open(shot.panorama);
            writeViewMaps(*request_.uv_maps, shot.path, panorama_.grid(),
                          panorama.file().samples_on_border, {camera, request_.look, shot.bounds});
        }
        if (request_.resume) {
            if (keep(index, shot, made)) return made;
            // One that bears the recipe is cut short.
            if (io::recipeOf(shot.path) != shot.recipe)
                request_.outputs.mayReplace(shot.path, io::Made::view);
        }
        clock_.begin("view");
        const io::PanoramaReader& panorama = panorama_.open(shot.panorama);
        View view = renderView(panorama, panorama_.grid(), camera, request_.look, shot.bounds);
        clock_.add(double(view.picture.width) * view.picture.height);
        made.covered = view.covered;
        bad_pixels_[shot.panorama] = panorama.badPixels();
        const bool halves = request_.half && !panorama.file().needs_float;
        if (halves)
            beyond_half_ += io::beyondHalf(view.picture.data.data(), view.picture.data.size());
        clock_.begin("write");
        io::writeMade(shot.path, view.picture, tagsFor(shot, panorama.file()), halves,
                      {shot.bounds.x0, shot.bounds.y0, size_.width, size_.height}, io::Made::view);
        clock_.add(double(view.picture.width) * view.picture.height);
        show(index, shot, view.picture);
        clock_.end();
        return made;
    }

    // What is not finite in what the views showed of the panorama, or too bright for half.
    void tell(std::vector<std::string>& warnings) const {
        for (const auto& [number, bad] : bad_pixels_) {
            if (bad == 0) continue;
            const auto& file = panorama_.file();
            warnings.push_back(badPixelsInWords(panorama_.pathOf(number).filename().string(), bad,
                                                size_t(file.width) * size_t(file.height)));
        }
        if (beyond_half_ > 0) warnings.push_back(beyondHalfInWords("the views", beyond_half_));
    }

    std::vector<StageTime> finish() {
        if (request_.sheet) {
            clock_.begin("sheet");
            sheet_.write(*request_.sheet);
            clock_.end();
        }
        return clock_.times();
    }

private:
    // A frame that is there already, whole and made from the same things.
    bool keep(size_t index, const Shot& shot, ViewResult::Frame& made) {
        const auto there = io::readMade(shot.path, shot.recipe);
        if (!there) return false;
        made.was_there = true;
        made.covered = coveredShare(*there);
        show(index, shot, *there);
        return true;
    }

    void show(size_t index, const Shot& shot, const io::Picture& picture) {
        if (!request_.sheet) return;
        std::string label = std::to_string(shot.frame.number);
        if (shot.frame.timecode) label += "   " + io::toString(*shot.frame.timecode);
        sheet_.add(index, label, picture, shot.bounds, size_.width, size_.height);
    }

    const ViewRequest& request_;
    std::map<int64_t, size_t> bad_pixels_;  // of the panorama frames that were read
    size_t beyond_half_ = 0;
    MovingPanorama& panorama_;
    FrameSize size_;
    ContactSheet sheet_;
    StageClock clock_;
};

}  // namespace

ViewResult viewJob(const ViewRequest& request, const Progress& progress) {
    MovingPanorama panorama(request.panorama, request.claim, request.colour_space,
                            request.cache_bytes, request.slip);
    (void)panorama.open(panorama.moves() ? panorama.numbers().front() : 0);
    ViewResult result;
    const auto recorded = recordedFrames(request, &result.warnings);
    io::ShotCamera camera = cameraOf(request, recorded, panorama);
    if (request.lens_table)
        addMeasuredLens(readLensTableInUse(*request.lens_table),
                        {request.focal_mm, request.sensor_width_mm}, camera);
    result.notes = camera.notes;
    for (const auto& warning : camera.warnings) result.warnings.push_back(warning);
    result.missing = camera.missing;
    result.size = sizeOf(request, camera, recorded);
    auto shots = tiedTo(panorama, camera, result.missing);
    for (const auto& note : panorama.notes()) result.notes.push_back(note);
    for (const auto& warning : panorama.warnings()) result.warnings.push_back(warning);
    checkOutput(request, camera.frames.size());
    planShot(shots, request, result.size, panorama, result);
    const auto all_shots = shots;
    keepChunk(request.chunk, shots, result.missing);
    checkOutputs(request, panorama, recorded, all_shots, shots);
    if (request.output.has_parent_path()) io::makeFolder(request.output.parent_path());
    if (request.uv_maps) {
        io::makeFolder(*request.uv_maps);
        if (isFirst(request.chunk))
            writeLensMaps(*request.uv_maps, platesOf(all_shots), Fit::overscan);
    }
    if (shots.empty()) return result;  // more chunks than frames
    // Whatever can't be written is found now, not after the work.
    io::NewFile(shots.front().path);
    if (request.sheet) io::NewFile(*request.sheet);

    tbb::task_arena arena(request.threads > 0 ? request.threads : tbb::task_arena::automatic);
    arena.execute([&] {
        ViewRun run(request, panorama, result.size, shots.size(), progress);
        for (size_t i = 0; i < shots.size(); ++i) {
            progress("view", double(i) / double(shots.size()));
            result.frames.push_back(run.make(i, shots[i]));
        }
        run.tell(result.warnings);
        result.times = run.finish();
    });
    result.bounds = shots.back().bounds;
    return result;
}

}  // namespace plateloom::stitch
