#include "stitch/calibrate/chart_job.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>

#include "calib/said.h"
#include "io/input_error.h"
#include "stitch/calibrate/chart_axis.h"

namespace plateloom::stitch {

namespace {

void refuseUnlikeSizes(const std::vector<PrepPicture>& pictures) {
    const io::PlateFile& first = pictures.front().file;
    for (const auto& picture : pictures)
        if (picture.file.width != first.width || picture.file.height != first.height)
            throw io::InputError(
                picture.file.path.string(),
                said("is %dx%d, but %s is %dx%d; pictures of one lens on one sensor have one size",
                     picture.file.width, picture.file.height, first.path.filename().c_str(),
                     first.width, first.height));
}

calib::Sensor sensorOf(const ChartRequest& request, const io::PlateFile& file) {
    calib::Sensor sensor;
    sensor.width_px = file.width;
    sensor.height_px = file.height;
    if (request.sensor_width_mm)
        sensor.width_mm = *request.sensor_width_mm;
    else if (file.sensor_width_mm)
        sensor.width_mm = *file.sensor_width_mm;
    else
        throw io::InputError(file.path.string(),
                             "says nothing of the sensor's size; give the active area in mm, e.g. "
                             "--sensor 36x20.25");
    sensor.height_mm =
        request.sensor_height_mm.value_or(sensor.width_mm * file.height / file.width);
    const double aspect = sensor.mmPerPixelX() / sensor.mmPerPixelY();
    if (!(aspect > 0.4 && aspect < 2.5))
        throw io::InputError("--sensor",
                             said("%gx%g mm does not go with pictures of %dx%d", sensor.width_mm,
                                  sensor.height_mm, file.width, file.height));
    return sensor;
}

// The kinds and sizes that the person may have meant, the likeliest first. A checkerboard's size is
// its inner corners; whoever counts its squares is understood as well.
std::vector<BoardWish> readings(const BoardWish& wish) {
    std::vector<BoardWish> out;
    for (const auto kind : {BoardKind::charuco, BoardKind::checker, BoardKind::dots}) {
        if (wish.kind && *wish.kind != kind) continue;
        out.push_back(wish);
        out.back().kind = kind;
    }
    if ((!wish.kind || *wish.kind == BoardKind::checker) && wish.columns > 3 && wish.rows > 3) {
        out.push_back(wish);
        out.back().kind = BoardKind::checker;
        --out.back().columns;
        --out.back().rows;
    }
    return out;
}

std::string sizeOf(const BoardWish& wish) {
    const std::string size = std::to_string(wish.columns) + "x" + std::to_string(wish.rows);
    if (!wish.kind) return "board of " + size;
    switch (*wish.kind) {
        case BoardKind::checker:
            return "checkerboard of " + size + " inner corners";
        case BoardKind::charuco:
            return "ChArUco board of " + size + " squares";
        case BoardKind::dots:
            return "grid of " + size + " dots";
    }
    return {};
}

struct Detection {
    BoardWish wish;
    std::vector<std::optional<FoundBoard>> boards;  // one a shot
    size_t found = 0;
};

// The first reading that most pictures show; the others are only tried while few do.
Detection detect(const std::vector<PrepPicture>& shots, const BoardWish& wish,
                 const Progress& progress) {
    Detection best;
    for (const auto& reading : readings(wish)) {
        Detection now{reading, std::vector<std::optional<FoundBoard>>(shots.size()), 0};
        std::atomic<size_t> done{0}, found{0};
        std::mutex telling;
        const auto look = [&](size_t i) {
            now.boards[i] = findBoard(readChartLight(shots[i].file), reading);
            found += now.boards[i].has_value();
            ++done;
            const std::lock_guard<std::mutex> lock(telling);
            progress("boards", double(done) / double(shots.size()));
        };
        // One in four tells whether it is this kind of board at all.
        const size_t stride = shots.size() > 8 ? 4 : 1;
        tbb::parallel_for(size_t(0), (shots.size() + stride - 1) / stride,
                          [&](size_t k) { look(k * stride); });
        if (found == 0 && stride > 1) continue;
        tbb::parallel_for(size_t(0), shots.size(), [&](size_t i) {
            if (i % stride != 0) look(i);
        });
        now.found = found;
        if (now.found > best.found) best = std::move(now);
        if (2 * best.found > shots.size()) break;
    }
    return best;
}

// Focus and zoom make a lens; the iris hardly moves its geometry, so that it stands only where all
// pictures of a group share it.
std::vector<ChartTask> tasksOf(const std::vector<PrepPicture>& shots, const Detection& detection,
                               const ChartRequest& request, const calib::Sensor& sensor) {
    std::vector<ChartTask> tasks;
    for (size_t i = 0; i < shots.size(); ++i) {
        calib::LensSetting geometry = shots[i].setting;
        geometry.t_stop.reset();
        ChartTask* task = nullptr;
        for (auto& known : tasks) {
            calib::LensSetting other = known.setting;
            other.t_stop.reset();
            if (isSameSetting(other, geometry)) task = &known;
        }
        if (!task) {
            tasks.push_back({shots[i].setting,
                             sensor,
                             detection.wish,
                             {},
                             request.direction,
                             request.board_shape,
                             false,
                             {},
                             {}});
            task = &tasks.back();
        }
        if (task->setting.t_stop != shots[i].setting.t_stop) task->setting.t_stop.reset();
        task->pictures.push_back({shots[i].file.path.string(), detection.boards[i]});
    }
    // Several settings are looked up in between.
    for (auto& task : tasks) task.polynomial = tasks.size() > 1;
    return tasks;
}

bool haveSameTerms(const calib::ChartModel& a, const calib::ChartModel& b) {
    return a.above == b.above && a.below == b.below && a.centre == b.centre;
}

// Between two settings a lens's coefficients go evenly from one to the other, which is only a lens
// when both have the same terms: those of the setting that needs the most go for all of them,
// unless that costs a setting more than its pictures allow.
void shareTerms(const std::vector<ChartTask>& tasks, ChartJob& job) {
    constexpr double kAllowed = 1.03;  // of a setting's own held-out error
    calib::ChartModel most = job.lenses.front().model;
    const auto lensNumbers = [](calib::ChartModel model) {
        model.shape = calib::ShapeTerms::flat;
        return model.freeNumbers();
    };
    for (const auto& lens : job.lenses)
        if (lensNumbers(lens.model) > lensNumbers(most)) most = lens.model;
    for (size_t t = 0; t < tasks.size(); ++t) {
        auto& lens = job.lenses[t];
        if (haveSameTerms(lens.model, most)) continue;
        ChartTask task = tasks[t];
        task.model = most;
        task.model->shape = lens.model.shape;
        std::optional<ChartMeasurement> shared;
        try {
            shared = measureLens(task);
        } catch (const io::InputError&) {
            // With that many terms these pictures tell no lens at all.
        }
        if (!shared || shared->held_out_rms_px > kAllowed * lens.held_out_rms_px) {
            job.notes.push_back(toString(lens.setting) + ": keeps fewer terms (" +
                                nameOf(lens.model) + ") than other settings");
            continue;
        }
        shared->tried = std::move(lens.tried);
        lens = std::move(*shared);
    }
}

}  // namespace

calib::LensTable ChartJob::table() const {
    calib::LensTable table;
    for (const auto& lens : lenses) {
        table.sensor = lens.sensor;
        calib::MeasuredLens measured;
        measured.setting = lens.setting;
        measured.lens = lens.lens;
        measured.geometry = true;
        measured.supported_radius_mm = lens.support.reach_mm;
        measured.rms_px = lens.rms_px;
        if (lens.axis_sigma_mm.allFinite() && lens.tangential_sigma.allFinite())
            measured.geometry_sigma = {lens.axis_sigma_mm.maxCoeff(),
                                       lens.tangential_sigma.maxCoeff(), lens.radial_sigma_mm};
        table.measured.push_back(measured);
    }
    return table;
}

bool ChartJob::needsALook() const {
    bool look = !warnings.empty();
    for (const auto& lens : lenses) look = look || !lens.warnings.empty();
    return look;
}

ChartJob measureCharts(const ChartRequest& request, const Progress& progress) {
    ChartJob job;
    const auto prep = gatherPrepPictures(request.prep);
    const auto& shots = prep.pictures;
    job.notes = prep.warnings;
    refuseUnlikeSizes(shots);
    const calib::Sensor sensor = sensorOf(request, shots.front().file);
    const Detection detection = detect(shots, request.board, progress);
    if (detection.found == 0)
        throw io::InputError(
            request.prep.pictures.front(),
            said("no %s found in any of %zu pictures; check --board and --squares%s",
                 sizeOf(request.board).c_str(), shots.size(),
                 request.board.kind == BoardKind::charuco ? " (and --dictionary)" : ""));
    const BoardWish& wish = detection.wish;
    if (!request.board.kind || wish.columns != request.board.columns)
        job.notes.push_back("taken as a " + sizeOf(wish));

    const auto tasks = tasksOf(shots, detection, request, sensor);
    for (size_t t = 0; t < tasks.size(); ++t) {
        job.lenses.push_back(measureLens(tasks[t], [&](double share) {
            progress("lens", (double(t) + std::min(share, 1.0)) / double(tasks.size()));
        }));
        if (!tasks[t].setting.focus_m)
            job.notes.push_back(
                "focus distance not known: the lens will serve any focus; give --focus METRES, or "
                "a --camera-report, to make it one of a table");
    }
    shareTerms(tasks, job);
    const auto axes = shareAxis(tasks, &job.lenses);
    job.notes.insert(job.notes.end(), axes.begin(), axes.end());
    return job;
}

}  // namespace plateloom::stitch
