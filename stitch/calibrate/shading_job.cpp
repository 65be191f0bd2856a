#include "stitch/calibrate/shading_job.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/said.h"
#include "io/input_error.h"
#include "io/lens_table_file.h"
#include "stitch/calibrate/field_light.h"
#include "stitch/calibrate/shading_figures.h"

namespace plateloom::stitch {

namespace {

void refuseShapes(const std::vector<PrepPicture>& pictures) {
    constexpr double kSame = 0.005;
    const io::PlateFile& first = pictures.front().file;
    for (const PrepPicture& picture : pictures) {
        const io::PlateFile& file = picture.file;
        if (std::abs(double(file.width) * first.height / file.height / first.width - 1) > kSame)
            throw io::InputError(
                file.path.string(),
                said("is %d x %d, another shape than %s (%d x %d); the pictures of "
                     "one lens on one sensor have one shape",
                     file.width, file.height, first.path.filename().string().c_str(), first.width,
                     first.height));
    }
}

calib::Sensor sensorOf(const ShadingRequest& request, const io::PlateFile& file) {
    calib::Sensor sensor{0, 0, file.width, file.height};
    if (request.sensor_width_mm) {
        sensor.width_mm = *request.sensor_width_mm;
        sensor.height_mm = request.sensor_height_mm.value_or(0);
    } else if (request.table) {
        sensor.width_mm = request.table->sensor.width_mm;
        sensor.height_mm = request.table->sensor.height_mm;
    } else if (file.sensor_width_mm) {
        sensor.width_mm = *file.sensor_width_mm;
    } else {
        throw io::InputError(file.path.string(),
                             "does not say how large its sensor is; give the active area in mm, "
                             "e.g. --sensor 36x20.25");
    }
    if (!(sensor.height_mm > 0)) sensor.height_mm = sensor.width_mm * file.height / file.width;
    // What can't go into the table is found out before the work.
    if (request.table) {
        const calib::LensTable none{sensor, {}, {}};
        (void)io::merged(*request.table, none, request.table_path);
    }
    return sensor;
}

// Settings in the order in which they come up, and each picture's.
std::vector<int> groupSettings(const std::vector<PrepPicture>& pictures, ShadingMeasurement* out) {
    std::vector<int> of_picture;
    for (const PrepPicture& picture : pictures) {
        size_t at = 0;
        while (at < out->settings.size() &&
               !calib::isSameSetting(out->settings[at].setting, picture.setting))
            ++at;
        if (at == out->settings.size()) {
            out->settings.emplace_back();
            out->settings.back().setting = picture.setting;
            out->settings.back().stop_is_f_number = picture.stop_is_f_number;
        }
        ++out->settings[at].pictures;
        of_picture.push_back(int(at));
    }
    return of_picture;
}

void refuseUnusable(const io::PlateFile& file, const FieldLight& light, const std::string& level) {
    constexpr double kMostClippedCells = 0.05, kMostGrain = 0.25, kMostEmpty = 0.25;
    const auto cells = double(light.cells.size());
    if (light.clipped_cells > kMostClippedCells * cells)
        throw io::InputError(
            file.path.string(),
            said("is clipped over %.0f %% of the frame; expose flat fields so that "
                 "their brightest part stays half a stop below the clip level",
                 100 * light.clipped_cells / cells));
    if (!(light.level > 0) || light.empty_cells > kMostEmpty * cells)
        throw io::InputError(file.path.string(), "holds no light above black" + level);
    if (light.grain > kMostGrain)
        throw io::InputError(file.path.string(),
                             said("is too dark or not a flat field: neighbouring pixels differ by "
                                  "%.0f %%",
                                  100 * light.grain));
}

// Cells' places without distortion, from the optical axis, where a chart told the lens's geometry.
void flattenPlaces(const calib::LookedUp& lens, const calib::Sensor& sensor,
                   std::vector<calib::FieldCell>* cells) {
    if (!lens.geometry || !lens.missing.empty()) return;
    const calib::LensMap map(lens.lens, sensor);
    for (calib::FieldCell& cell : *cells)
        if (const auto flat = map.flatFromRecorded_mm(cell.mm))
            cell.flat_mm = *flat - lens.lens.projection_offset_mm;
}

void describePicture(const PrepPicture& prep, const FieldLight& light,
                     const calib::FittedPicture& fitted, int setting, ShadingMeasurement* out) {
    ShadingPicture picture;
    picture.file = prep.file.path.string();
    picture.setting = setting;
    picture.level = fitted.level;
    picture.grain = light.grain;
    picture.lamp = fitted.lamp;
    picture.columns = light.columns;
    picture.rows = light.rows;
    picture.residual = fitted.residual;
    picture.used = fitted.used;
    picture.clipped_cells = light.clipped_cells;
    picture.rms = fitted.rms;
    picture.used_cells = int(std::count(fitted.used.begin(), fitted.used.end(), uint8_t(1)));
    picture.ignored_cells = int(fitted.used.size()) - picture.used_cells;
    picture.lamp_tilt_stops = lampTilt_stops(fitted, light.cells, out->sensor);
    out->pictures.push_back(std::move(picture));
}

// The picture that least is a flat field, if one is not.
void refuseTexture(const ShadingMeasurement& measured) {
    constexpr double kMostRest = 0.012, kMostIgnored = 0.35;
    const ShadingPicture* worst = nullptr;
    double worst_rest = 0;
    for (const ShadingPicture& picture : measured.pictures) {
        const double rest = typicalRest(picture);
        const auto cells = double(picture.used.size());
        const bool uneven = rest > kMostRest || picture.ignored_cells > kMostIgnored * cells;
        if (!uneven || rest < worst_rest) continue;
        worst = &picture;
        worst_rest = rest;
    }
    if (worst)
        throw io::InputError(
            worst->file,
            said("is not a flat field: beside a lamp's tilt and a lens's falloff its light varies "
                 "by "
                 "%.1f %%, and %.0f %% of it stands out; light a blank screen or take the picture "
                 "out",
                 100 * worst_rest, 100.0 * worst->ignored_cells / double(worst->used.size())));
}

void refuseFaults(const ShadingMeasurement& measured) {
    for (const ShadingSetting& at : measured.settings) {
        calib::Lens lens;
        lens.focal_mm = measured.sensor.width_mm;  // any will do: there is no geometry to judge
        lens.shading = at.shading;
        if (const auto fault = calib::faultOf(lens, measured.sensor))
            throw io::InputError(toString(at.setting),
                                 "the shading found can't be used: " + *fault +
                                     "; does the lens cover this sensor?");
    }
}

}  // namespace

calib::LensTable ShadingMeasurement::table() const {
    calib::LensTable out;
    out.sensor = sensor;
    for (const ShadingSetting& at : settings) {
        calib::MeasuredLens measured;
        measured.setting = at.setting;
        measured.lens.shading = at.shading;
        if (at.stop_is_f_number) measured.lens.f_stop = at.setting.t_stop;
        measured.shading = true;
        out.measured.push_back(measured);
    }
    return out;
}

ShadingMeasurement measureShading(const ShadingRequest& request, const Progress& progress) {
    ShadingMeasurement out;
    const PrepPictures prep = gatherPrepPictures(request.pictures);
    const auto& pictures = prep.pictures;
    out.warnings = prep.warnings;
    refuseShapes(pictures);
    out.sensor = sensorOf(request, pictures.front().file);
    const std::vector<int> settings = groupSettings(pictures, &out);

    std::optional<calib::LensLookup> geometry;
    if (request.table) geometry.emplace(*request.table);
    std::vector<calib::FieldPicture> fields;
    std::vector<FieldLight> lights;
    for (size_t i = 0; i < pictures.size(); ++i) {
        progress("fields", double(i) / double(pictures.size()));
        const io::PlateFile& file = pictures[i].file;
        lights.push_back(fieldLight(io::readPlatePixels(file), out.sensor, request.black));
        refuseUnusable(file, lights.back(),
                       request.black > 0 ? said(" (%.4g)", request.black) : "");
        if (geometry)
            flattenPlaces(geometry->at(pictures[i].setting), out.sensor, &lights.back().cells);
        fields.push_back({settings[i], lights.back().cells, pictures[i].facing});
    }
    progress("fields", 1);

    const std::vector<double> focals_mm = focalLengths_mm(out, geometry);
    const double focal_mm = focals_mm.front();
    if (!(focal_mm > 0))
        for (auto& field : fields) field.facing.reset();
    const calib::ShadingFit fit = calib::fitShading(fields, int(out.settings.size()),
                                                    focal_mm > 0 ? focal_mm : out.sensor.width_mm,
                                                    out.sensor.halfDiagonal_mm());
    out.terms = fit.terms;
    out.held_out = fit.held_out;
    out.bow_separated = fit.bow_separated;
    out.rms = fit.rms;
    for (size_t i = 0; i < pictures.size(); ++i)
        describePicture(pictures[i], lights[i], fit.pictures[i], settings[i], &out);
    for (size_t s = 0; s < out.settings.size(); ++s) {
        out.settings[s].shading = fit.shading[s];
        out.settings[s].corner_sigma = fit.corner_sigma[s];
    }
    refuseTexture(out);
    refuseFaults(out);
    std::vector<std::vector<calib::FieldCell>> cells;
    for (const FieldLight& light : lights) cells.push_back(light.cells);
    describeSettings(cells, &out);
    describeHeights(focals_mm, geometry, &out);
    remark(focal_mm > 0, &out);
    return out;
}

}  // namespace plateloom::stitch
