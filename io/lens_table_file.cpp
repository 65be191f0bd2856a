#include "io/lens_table_file.h"

#include <algorithm>
#include <cmath>

#include "calib/focus.h"
#include "calib/said.h"
#include "io/file_lock.h"
#include "io/input_error.h"
#include "io/json_samples.h"
#include "io/lens_track_json.h"
#include "io/new_file.h"
#include "io/output_guard.h"
#include "io/sample_json.h"
#include "io/table.h"

namespace plateloom::io {

namespace {

using Json = nlohmann::ordered_json;

JsonFields markOf(const JsonFields& root) {
    return root.objectIfAny("custom").objectIfAny("plateloom").objectIfAny("lensTable");
}

bool hasSameSize(const calib::Sensor& a, const calib::Sensor& b) {
    constexpr double kSame = 0.001;
    return std::abs(a.width_mm / b.width_mm - 1) < kSame &&
           std::abs(a.height_mm / b.height_mm - 1) < kSame;
}

bool hasSameShape(const calib::Sensor& a, const calib::Sensor& b) {
    constexpr double kSame = 0.005;
    return std::abs(double(a.width_px) / a.height_px * b.height_px / b.width_px - 1) < kSame;
}

calib::Sensor sensorOf(const JsonFields& root, const LensSample& sample) {
    const JsonFields camera = root.object("static").object("camera");
    if (!sample.sensor_width_mm || !sample.sensor_height_mm)
        camera.fault("activeSensorPhysicalDimensions", "is missing; a lens table needs it");
    if (!sample.sensor_width_px || !sample.sensor_height_px)
        camera.fault("activeSensorResolution", "is missing; a lens table needs it");
    return {*sample.sensor_width_mm, *sample.sensor_height_mm, *sample.sensor_width_px,
            *sample.sensor_height_px};
}

void refuseFault(const JsonFields& root, const calib::MeasuredLens& at,
                 const calib::Sensor& sensor) {
    calib::Lens lens = at.lens;
    // Shading alone can be judged with any focal length.
    if (!at.geometry) lens.focal_mm = sensor.width_mm;
    if (const auto fault = calib::faultOf(lens, sensor))
        root.fault("lens", "can't be used: " + *fault);
}

double sigmaOf(const JsonFields& mark, const char* name) {
    const double sigma = mark.number(name).value_or(0);
    if (!(sigma >= 0)) mark.fault(name, "is an uncertainty and can't be below 0");
    return sigma;
}

std::array<double, 3> radialSigmasOf(const JsonFields& mark) {
    constexpr const char* kName = "radialSigmas_mm";
    std::array<double, 3> out{};
    const auto read = mark.numbers(kName, out.size());
    if (read.empty()) return out;
    if (read.size() != out.size())
        mark.fault(kName,
                   "has to be three numbers: at half, three quarters and all of the way to "
                   "the corner");
    for (size_t i = 0; i < out.size(); ++i) {
        if (!(read[i] >= 0)) mark.fault(kName, "are uncertainties and can't be below 0");
        out[i] = read[i];
    }
    return out;
}

calib::MeasuredLens readSetting(const JsonFields& root, const ParsedSample& parsed) {
    const JsonFields mark = markOf(root);
    if (!mark)
        root.fault("custom.plateloom.lensTable",
                   "is missing; the samples before it are a lens table's");
    const LensSample& sample = parsed.sample;
    calib::MeasuredLens out;
    out.lens = sample.lens;
    out.geometry = mark.flag("geometry").value_or(false);
    out.shading = mark.flag("shading").value_or(false);
    out.supported_radius_mm = mark.number("supportedRadius_mm").value_or(0);
    out.rms_px = mark.number("rms_px").value_or(0);
    out.geometry_sigma = {sigmaOf(mark, "axisSigma_mm"), sigmaOf(mark, "tangentialSigma_per_mm"),
                          radialSigmasOf(mark)};
    out.setting = {sample.lens.focus_m, sample.lens.t_stop, parsed.statics.nominal_focal_mm};
    if (!out.setting.t_stop) out.setting.t_stop = sample.lens.f_stop;
    if (out.geometry && !sample.has_focal)
        root.object("lens").fault("pinholeFocalLength", "is missing, but geometry is marked true");
    if (out.shading && !sample.has_shading)
        root.object("lens").fault("exposureFalloff", "is missing, but shading is marked true");
    if (!out.geometry && !out.shading)
        mark.fault("geometry", "and shading are both false: the setting measures nothing");
    return out;
}

// Rings that some of the samples of one kind give and others do not: nothing says where the latter
// belong.
std::string unevenRing(const std::vector<calib::MeasuredLens>& measured,
                       bool calib::MeasuredLens::*kind) {
    const auto uneven = [&](auto ring) {
        int says = 0, all = 0;
        for (const auto& at : measured)
            if (at.*kind) ++all, says += (at.setting.*ring).has_value();
        return says != 0 && says != all;
    };
    if (uneven(&calib::LensSetting::focus_m)) return "focus distance";
    if (uneven(&calib::LensSetting::focal_mm)) return "nominal focal length";
    // A chart may be shot at any iris.
    if (kind == &calib::MeasuredLens::shading && uneven(&calib::LensSetting::t_stop))
        return "T-stop";
    return "";
}

// What makes settings no table, in a person's words.
std::string disagreement(const calib::LensTable& table) {
    const calib::Distortion* bent = nullptr;
    for (const auto& at : table.measured) {
        if (!at.geometry || at.lens.distortion.isNone()) continue;
        if (bent && bent->direction != at.lens.distortion.direction)
            return "holds D-U and U-D distortion side by side; a lens table needs one of the two";
        bent = &at.lens.distortion;
    }
    for (const auto kind : {&calib::MeasuredLens::geometry, &calib::MeasuredLens::shading}) {
        const std::string ring = unevenRing(table.measured, kind);
        if (!ring.empty())
            return std::string("some of its settings give a ") + ring + " and others do not (" +
                   (kind == &calib::MeasuredLens::geometry ? "geometry" : "shading") +
                   "); give it for all of them or for none";
    }
    return "";
}

Json settingJson(const calib::MeasuredLens& at, const calib::LensTable& table) {
    calib::Lens lens = at.lens;
    // The iris stays a T-stop or an f-number, as the lens block says it.
    if (!lens.f_stop || at.setting.t_stop != lens.f_stop) lens.t_stop = at.setting.t_stop;
    lens.focus_m = at.setting.focus_m;
    if (lens.focus_m) lens.focus_m = calib::focusDistance(*lens.focus_m);
    if (!at.shading) lens.shading = {};
    Json out;
    Json mark{{"geometry", at.geometry}, {"shading", at.shading}};
    if (at.supported_radius_mm > 0) mark["supportedRadius_mm"] = at.supported_radius_mm;
    if (at.geometry) mark["rms_px"] = at.rms_px;
    if (at.geometry && at.geometry_sigma.axis_mm > 0) {
        mark["axisSigma_mm"] = at.geometry_sigma.axis_mm;
        mark["tangentialSigma_per_mm"] = at.geometry_sigma.tangential_per_mm;
        if (at.geometry_sigma.radial_mm.back() > 0)
            mark["radialSigmas_mm"] = at.geometry_sigma.radial_mm;
    }
    out["custom"]["plateloom"]["lensTable"] = mark;
    out["static"]["camera"] = sensorJson(table.sensor);
    if (!table.name.empty()) out["static"]["lens"]["model"] = table.name;
    if (at.setting.focal_mm) out["static"]["lens"]["nominalFocalLength"] = *at.setting.focal_mm;
    out["lens"] = lensJson(lens);
    if (at.shading)
        out["lens"]["exposureFalloff"] = {
            {"a1", lens.shading.a1}, {"a2", lens.shading.a2}, {"a3", lens.shading.a3}};
    if (!at.geometry) {
        out["lens"].erase("distortion");
        out["lens"].erase("pinholeFocalLength");
    }
    out["protocol"] = {{"name", "OpenTrackIO"}, {"version", {1, 0, 0}}};
    return out;
}

void write(const std::filesystem::path& path, const calib::LensTable& table) {
    std::vector<Json> samples;
    std::string settings;
    for (const auto& at : table.measured) {
        samples.push_back(settingJson(at, table));
        settings += toString(at.setting) + "\n";
    }
    const std::string source = urnOf("lens table " + table.name + "\n" + settings);
    for (Json& sample : samples) {
        sample["sampleId"] = urnOf(source + lineOf(sample));
        sample["sourceId"] = source;
        sample["sourceNumber"] = 1;
    }
    samples.front()["custom"]["plateloom"]["made"] = openMark(Made::lens_table);
    writeText(path, Json(samples).dump(1, ' ', false, Json::error_handler_t::replace) + "\n");
}

// Settings of `old` that `table` has otherwise; what it only adds to them is no change.
void refuseReplacing(const calib::LensTable& old, const calib::LensTable& table,
                     const std::filesystem::path& path) {
    const auto part = [](calib::MeasuredLens at, const calib::LensTable& of, bool geometry) {
        at.geometry &= geometry;
        at.shading &= !geometry;
        if (!geometry) at.supported_radius_mm = 0;
        return settingJson(at, {of.sensor, {}, ""}).dump();
    };
    for (size_t i = 0; i < old.measured.size(); ++i)
        for (const bool geometry : {true, false}) {
            const auto &was = old.measured[i], &is = table.measured[i];
            const bool measured = geometry ? was.geometry : was.shading;
            if (!measured || part(was, old, geometry) == part(is, old, geometry)) continue;
            throw OutputRefused(
                path.string(), std::string("already holds ") + (geometry ? "geometry" : "shading") +
                                   " measured at " + toString(was.setting) +
                                   "; write to another file, or give --overwrite to replace it");
        }
}

void replacePart(const calib::MeasuredLens& from, calib::MeasuredLens* to) {
    const calib::Shading old = to->lens.shading;
    if (from.geometry) {
        const bool had_shading = to->shading;
        const calib::LensSetting setting = to->setting;
        *to = from;
        to->setting = setting;
        if (!from.shading) to->lens.shading = old, to->shading = had_shading;
    } else if (from.shading) {
        to->lens.shading = from.lens.shading;
        to->shading = true;
    }
}

}  // namespace

bool isLensTable(const std::filesystem::path& path) {
    try {
        const std::string text = readText(path);
        if (text.find("lensTable") == std::string::npos) return false;
        JsonSamples samples(text, path);
        return samples.next() && bool(markOf(samples.fields()));
    } catch (const InputError&) {
        return false;
    }
}

calib::LensTable readLensTable(const std::filesystem::path& path) {
    const std::string text = readText(path);
    calib::LensTable table;
    JsonSamples samples(text, path);
    while (samples.next()) {
        const JsonFields root = samples.fields();
        ParsedSample parsed = readSample(root);
        calib::MeasuredLens at = readSetting(root, parsed);
        applyStatics(&parsed.sample, parsed.statics);
        const calib::Sensor sensor = sensorOf(root, parsed.sample);
        if (table.measured.empty()) {
            table.sensor = sensor;
            table.name = parsed.statics.lens_name;
        } else if (!hasSameSize(sensor, table.sensor)) {
            root.object("static").object("camera").fault(
                "activeSensorPhysicalDimensions",
                said("%.4g x %.4g mm is not the first sample's %.4g x %.4g mm", sensor.width_mm,
                     sensor.height_mm, table.sensor.width_mm, table.sensor.height_mm));
        }
        refuseFault(root, at, sensor);
        table.measured.push_back(std::move(at));
    }
    if (table.measured.empty()) throw InputError(path.string(), "holds no lens settings");
    if (const std::string words = disagreement(table); !words.empty())
        throw InputError(path.string(), words);
    return table;
}

calib::LensTable merged(const calib::LensTable& table, const calib::LensTable& measured,
                        const std::filesystem::path& path) {
    if (!hasSameShape(table.sensor, measured.sensor))
        throw InputError(path.string(),
                         said("its pictures are %d x %d, which is another shape than the %d x "
                              "%d of these; measure the lens with one and the same recorded area",
                              table.sensor.width_px, table.sensor.height_px,
                              measured.sensor.width_px, measured.sensor.height_px));
    if (!hasSameSize(table.sensor, measured.sensor))
        throw InputError(
            path.string(),
            said("its sensor is %.4g x %.4g mm, not the %.4g x %.4g mm of these pictures; give the "
                 "same sensor's width, or write to another file",
                 table.sensor.width_mm, table.sensor.height_mm, measured.sensor.width_mm,
                 measured.sensor.height_mm));
    calib::LensTable out = table;
    if (out.name.empty()) out.name = measured.name;
    for (const calib::MeasuredLens& at : measured.measured) {
        const auto same = std::find_if(
            out.measured.begin(), out.measured.end(),
            [&](const auto& old) { return calib::isSameSetting(old.setting, at.setting); });
        if (same == out.measured.end())
            out.measured.push_back(at);
        else
            replacePart(at, &*same);
    }
    if (const std::string words = disagreement(out); !words.empty())
        throw InputError(path.string(), "with what is measured now, " + words);
    return out;
}

void addToLensTable(const std::filesystem::path& path, const calib::LensTable& measured,
                    bool overwrite) {
    // Another run may be adding to the same table.
    const FileLock lock(path);
    calib::LensTable table = measured;
    if (std::filesystem::exists(path)) {
        if (!isLensTable(path))
            throw InputError(path.string(),
                             "is there already and is no lens table; choose another name");
        const calib::LensTable old = readLensTable(path);
        table = merged(old, measured, path);
        if (!overwrite) refuseReplacing(old, table, path);
    } else {
        const calib::LensTable none{measured.sensor, {}, measured.name};
        table = merged(none, measured, path);
    }
    std::stable_sort(table.measured.begin(), table.measured.end(),
                     [](const auto& a, const auto& b) {
                         const auto key = [](const calib::LensSetting& s) {
                             return std::array{s.focal_mm.value_or(0), s.focus_m.value_or(0),
                                               s.t_stop.value_or(0)};
                         };
                         return key(a.setting) < key(b.setting);
                     });
    write(path, table);
}

}  // namespace plateloom::io
