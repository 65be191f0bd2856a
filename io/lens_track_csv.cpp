#include <algorithm>
#include <cmath>

#include "io/input_error.h"
#include "io/lens_track_json.h"
#include "io/measured_column.h"

namespace plateloom::io {

namespace {

/// The columns of a lens track, found once.
struct LensColumns {
    LensColumns(const Table& table, std::vector<bool>* used)
        : focal(table, "focal", "mm", used),
          focus(table, "focus", "m", used),
          sensor_width(table, "sensor_width", "mm", used),
          sensor_height(table, "sensor_height", "mm", used),
          distortion_x(table, "distortion_x", "mm", used),
          distortion_y(table, "distortion_y", "mm", used),
          projection_x(table, "projection_x", "mm", used),
          projection_y(table, "projection_y", "mm", used),
          entrance_pupil(table, "entrance_pupil", "m", used),
          pan(table, "pan", "deg", used),
          tilt(table, "tilt", "deg", used),
          roll(table, "roll", "deg", used),
          shutter(table, "shutter", "deg", used) {
        const auto find = [&](const char* name) { return usedColumn(table, name, used); };
        timecode = find("timecode"), frame = find("frame"), file = find("file");
        clip = find("clip"), camera = find("camera"), model = find("model"), fps = find("fps");
        t_stop = find("t_stop"), f_stop = find("f_stop"), iso = find("iso");
        radial = {find("k1"), find("k2"), find("k3"), find("k4"), find("k5"), find("k6")};
        tangential = {find("p1"), find("p2")};
        falloff = {find("a1"), find("a2"), find("a3")};
    }

    MeasuredColumn focal, focus, sensor_width, sensor_height, distortion_x, distortion_y,
        projection_x, projection_y, entrance_pupil, pan, tilt, roll, shutter;
    int timecode, frame, file, clip, camera, model, fps, t_stop, f_stop, iso;
    std::array<int, 6> radial;
    std::array<int, 2> tangential;
    std::array<int, 3> falloff;
};

std::optional<double> above0(const Table& table, const Table::Row& row, int column) {
    const auto value = table.number(row, column);
    if (value && *value <= 0)
        throw InputError(table.where(row, column),
                         "\"" + table.text(row, column) + "\" is not above 0");
    return value;
}

void readGlass(const Table& table, const Table::Row& row, const LensColumns& columns,
               LensSample* sample) {
    calib::Lens& lens = sample->lens;
    const auto take = [&](int column, double* value, bool* seen) {
        const auto number = table.number(row, column);
        if (number) *value = *number, *seen = true;
    };
    if (const auto focal = columns.focal.above0At(row)) {
        lens.focal_mm = *focal;
        sample->has_focal = true;
    }
    for (size_t i = 0; i < 6; ++i)
        take(columns.radial[i], &lens.distortion.radial[i], &sample->has_distortion);
    for (size_t i = 0; i < 2; ++i)
        take(columns.tangential[i], &lens.distortion.tangential[i], &sample->has_distortion);
    const std::array<double*, 3> falloff{&lens.shading.a1, &lens.shading.a2, &lens.shading.a3};
    for (size_t i = 0; i < 3; ++i) take(columns.falloff[i], falloff[i], &sample->has_shading);
    lens.distortion_offset_mm = {columns.distortion_x.at(row).value_or(0),
                                 columns.distortion_y.at(row).value_or(0)};
    lens.projection_offset_mm = {columns.projection_x.at(row).value_or(0),
                                 columns.projection_y.at(row).value_or(0)};
    const auto direction = directionOf(table.text(row, columns.model));
    if (!direction)
        throw InputError(table.where(row, columns.model),
                         "\"" + table.text(row, columns.model) +
                             "\" is not a model that is understood here; D-U and U-D are");
    lens.distortion.direction = *direction;
    lens.focus_m = columns.focus.focusAt(row);
    lens.f_stop = above0(table, row, columns.f_stop);
    lens.t_stop = above0(table, row, columns.t_stop);
    lens.entrance_pupil_offset_m = columns.entrance_pupil.at(row);
}

void readTime(const Table& table, const Table::Row& row, const LensColumns& columns,
              LensSample* sample) {
    if (const auto fps = table.number(row, columns.fps)) {
        sample->frame_rate = frameRateOf(*fps);
        if (!sample->frame_rate)
            throw InputError(table.where(row, columns.fps),
                             "\"" + table.text(row, columns.fps) + "\" is not a frame rate");
    }
    const std::string& code = table.text(row, columns.timecode);
    if (!code.empty()) {
        sample->timecode = parseTimecode(code);
        if (!sample->timecode)
            throw InputError(table.where(row, columns.timecode),
                             "\"" + code.substr(0, 40) + "\" is not a timecode like 01:02:03:04");
        if (sample->frame_rate && sample->timecode->frames >= sample->frame_rate->counting())
            throw InputError(table.where(row, columns.timecode),
                             code + " does not exist at " +
                                 std::to_string(sample->frame_rate->counting()) +
                                 " frames a second");
    }
    if (const auto frame = table.number(row, columns.frame)) {
        constexpr double kMostExact = 9007199254740992.0;  // 2^53: whole numbers up to here
        if (*frame != std::floor(*frame) || std::abs(*frame) > kMostExact)
            throw InputError(table.where(row, columns.frame),
                             "\"" + table.text(row, columns.frame) + "\" is not a whole number");
        sample->frame = int64_t(*frame);
    }
}

LensSample readRow(const Table& table, const Table::Row& row, const LensColumns& columns) {
    LensSample sample;
    sample.line = row.line;
    readTime(table, row, columns, &sample);
    readGlass(table, row, columns, &sample);
    sample.file = table.text(row, columns.file);
    sample.clip = table.text(row, columns.clip);
    sample.camera = table.text(row, columns.camera);
    sample.sensor_width_mm = columns.sensor_width.above0At(row);
    sample.sensor_height_mm = columns.sensor_height.above0At(row);
    sample.iso = above0(table, row, columns.iso);
    sample.shutter_deg = columns.shutter.above0At(row);
    const auto pan = columns.pan.at(row), tilt = columns.tilt.at(row), roll = columns.roll.at(row);
    if (pan && tilt) sample.pose = calib::PanTiltRoll{*pan, *tilt, roll.value_or(0)};
    return sample;
}

}  // namespace

LensTrack readLensTrackCsv(const std::filesystem::path& path, std::string_view text) {
    const Table table = Table::parse(text, path);
    std::vector<bool> used(table.columns().size(), false);
    const LensColumns columns(table, &used);
    if (std::none_of(used.begin(), used.end(), [](bool u) { return u; }))
        throw InputError(path.string(),
                         "no column is one of a lens track's (focal_mm, timecode, k1 ...); the "
                         "first line has to name them");
    LensTrack track;
    track.path = path;
    if (const std::string ignored = ignoredColumns(table, used); !ignored.empty())
        track.warnings.push_back(ignored);
    track.samples.reserve(table.rows().size());
    for (const Table::Row& row : table.rows())
        track.samples.push_back(readRow(table, row, columns));
    return track;
}

}  // namespace plateloom::io
