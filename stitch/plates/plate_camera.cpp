#include "stitch/plates/plate_camera.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>

#include "calib/said.h"
#include "io/input_error.h"
#include "stitch/plates/upright_picture.h"

namespace plateloom::stitch {

namespace {

// One-sigma relative uncertainties of a focal length.
constexpr double kMeasured = 0.001;  // a lens track's pinhole focal length
constexpr double kNominal = 0.03;    // engraved, in a report or in a file (common practice)
constexpr double kGuessed = 0.5;

// One-sigma uncertainties of a direction: a tracker's, and a pan head's scale read by eye (common
// practice).
constexpr double kTracked_deg = 0.25, kRead_deg = 1.0;

constexpr double kSameShape = 0.01;        // relative difference of aspects that is none
constexpr double kFullFrameWidth_mm = 36;  // assumed where no sensor is known
constexpr double kGuessedView_deg = 50;    // along the long side, where nothing is known
constexpr double kDiagonal35_mm = 43.27;   // CIPA DCG-001

bool near(double a, double b, double share) {
    return std::abs(a / b - 1) <= share;
}

struct FocusRange {
    double nearest_m = std::numeric_limits<double>::infinity(), farthest_m = 0;
};

// Of a table's geometry; empty where it does not go by focus.
FocusRange measuredFocus(const calib::LensTable& table) {
    FocusRange range;
    for (const auto& at : table.measured) {
        if (!at.geometry || !at.setting.focus_m) continue;
        range.nearest_m = std::min(range.nearest_m, *at.setting.focus_m);
        range.farthest_m = std::max(range.farthest_m, *at.setting.focus_m);
    }
    return range;
}

// Describes one plate; the functions run in the order in which they are written.
class CameraDescription {
public:
    CameraDescription(const CameraSources& sources, Plate* plate)
        : sources_(sources), sample_(sources.sample), plate_(*plate), file_(plate->file) {}

    std::vector<std::string> run() {
        setSensor();
        setGlass();
        setFocal();
        setPose();
        if (turned_) turnUpright();
        return std::move(warnings_);
    }

private:
    void setSensor() {
        plate_.sensor.width_px = file_.width;
        plate_.sensor.height_px = file_.height;
        const Equivalent35 full = equivalent35(file_.width, file_.height);
        if (sample_ && sample_->sensor_width_mm) {
            sensorFrom("lens track", *sample_->sensor_width_mm, sample_->sensor_height_mm);
        } else if (sources_.table && hasTablesSensor()) {
            const calib::Sensor& sensor = sources_.table->table.sensor;
            sensorFrom("lens table", sensor.width_mm, sensor.height_mm);
        } else if (sources_.sensor_width_mm) {
            // A person says the camera's width, which is the long side of an upright picture too.
            setLongSide(*sources_.sensor_width_mm);
        } else if (file_.sensor_width_mm) {
            setWidth(*file_.sensor_width_mm);
        } else if (file_.focal_mm && file_.focal_35mm_equivalent) {
            setWidth(full.width_mm * *file_.focal_mm / *file_.focal_35mm_equivalent);
        } else {
            sensor_known_ = false;
            if (file_.focal_35mm_equivalent)
                setWidth(full.width_mm);
            else
                setLongSide(kFullFrameWidth_mm);
        }
    }

    // A table holds in millimetres, so that it serves another part of the sensor as well: where the
    // plate's own sensor is known to be another, that one is taken.
    [[nodiscard]] bool hasTablesSensor() {
        const double table_mm = sources_.table->table.sensor.width_mm;
        const auto own_mm =
            sources_.sensor_width_mm ? sources_.sensor_width_mm : file_.sensor_width_mm;
        if (!own_mm || near(*own_mm, table_mm, kSameShape)) return true;
        const bool upright = file_.height > file_.width;
        if (upright && near(*own_mm, sources_.table->table.sensor.height_mm, kSameShape))
            return true;
        warnings_.push_back(
            said("its sensor is %.4g mm wide, not the %.4g mm that the lens table was measured on; "
                 "the lens's middle is taken to be the sensor's",
                 *own_mm, table_mm));
        return false;
    }

    void sensorFrom(const char* source, double width_mm, std::optional<double> height_mm) {
        setWidth(width_mm);
        if (sources_.sensor_width_mm && !near(*sources_.sensor_width_mm, width_mm, kSameShape))
            warnings_.push_back(
                said("the %s's sensor is %.4g mm wide, not the %.4g mm that were asked for; "
                     "the %s's is used",
                     source, width_mm, *sources_.sensor_width_mm,
                     std::string_view(source) == "lens track" ? "track" : "table"));
        if (!height_mm) return;
        const double upright_mm = *height_mm * file_.height / file_.width;
        if (near(*height_mm, plate_.sensor.height_mm, kSameShape)) {
            plate_.sensor.height_mm = *height_mm;
        } else if (near(upright_mm, plate_.sensor.width_mm, kSameShape)) {
            turned_ = true;
            plate_.sensor.height_mm = plate_.sensor.width_mm;
            plate_.sensor.width_mm = *height_mm;
        } else {
            warnings_.push_back(
                said("the %s's sensor (%.4g x %.4g mm) has another shape than the picture (%d x "
                     "%d); square pixels across the sensor's width are assumed",
                     source, plate_.sensor.width_mm, *height_mm, file_.width, file_.height));
        }
    }

    void setWidth(double width_mm) {
        plate_.sensor.width_mm = width_mm;
        plate_.sensor.height_mm = width_mm * file_.height / file_.width;
    }

    void setLongSide(double long_mm) {
        setWidth(file_.width >= file_.height ? long_mm : long_mm * file_.width / file_.height);
    }

    void setGlass() {
        if (sample_) {
            plate_.lens = sample_->lens;
            plate_.distortion_known = sample_->has_distortion;
            plate_.shading_known = sample_->has_shading;
        }
        const auto add = [](std::optional<double>* value, std::optional<double> from) {
            if (!*value) *value = from;
        };
        if (const auto* report = sources_.report) {
            if (report->focus_m) plate_.lens.focus_m = report->focus_m;
            if (report->t_stop) plate_.lens.t_stop = report->t_stop;
        }
        add(&plate_.lens.focus_m, file_.focus_m);
        add(&plate_.lens.f_stop, file_.f_stop);
        add(&plate_.lens.t_stop, file_.t_stop);
        if (sources_.table) glassFromTable();
    }

    // The rings as the table's author wrote them down: the focal length is the marked one.
    [[nodiscard]] calib::LensSetting setting() {
        calib::LensSetting out{plate_.lens.focus_m, plate_.lens.t_stop, sources_.focal_mm};
        if (!out.t_stop && plate_.lens.f_stop) {
            out.t_stop = plate_.lens.f_stop;
            if (sources_.table->inTStops())
                warnings_.emplace_back(
                    "no T-stop is known; its f-number is taken for one in the lens table");
        }
        if (!out.focal_mm && sources_.report) out.focal_mm = sources_.report->focal_mm;
        if (!out.focal_mm && sample_ && sample_->has_focal) out.focal_mm = sample_->lens.focal_mm;
        if (!out.focal_mm) out.focal_mm = file_.focal_mm;
        return out;
    }

    void glassFromTable() {
        const calib::LookedUp found = sources_.table->lookup.at(setting());
        if (!found.missing.empty())
            throw io::InputError(
                file_.path.string(),
                "says no " + found.missing.front() + ", but the lens in " +
                    sources_.table->path.filename().string() +
                    " changes with it; give it in a --camera-report" +
                    (found.missing.front() == "focal length" ? ", or with --focal" : ""));
        if (found.geometry && !plate_.distortion_known) {
            plate_.lens.focal_mm = found.lens.focal_mm;
            plate_.lens.distortion = found.lens.distortion;
            plate_.lens.distortion_offset_mm = found.lens.distortion_offset_mm;
            plate_.lens.projection_offset_mm = found.lens.projection_offset_mm;
            if (found.lens.entrance_pupil_offset_m)
                plate_.lens.entrance_pupil_offset_m = found.lens.entrance_pupil_offset_m;
            plate_.distortion_known = focal_from_table_ = true;
            plate_.geometry_sigma = found.geometry_sigma;
            refocused(found.lens);
        }
        if (found.shading && !plate_.shading_known) {
            plate_.lens.shading = found.lens.shading;
            plate_.shading_known = true;
        }
        warnings_.insert(warnings_.end(), found.warnings.begin(), found.warnings.end());
    }

    void refocused(const calib::Lens& lens) {
        calib::LensSetting other = setting();
        if (!other.focus_m) return;
        const FocusRange measured = measuredFocus(sources_.table->table);
        if (measured.farthest_m == 0) return;
        // A little nearer; a little farther where the table ends there, since its end stands for
        // all that is nearer and would tell nothing.
        const double here_m = std::clamp(*other.focus_m, measured.nearest_m, measured.farthest_m);
        const double nearer_m = here_m / (1 + Plate::kRefocused);
        const double farther_m = here_m / (1 - Plate::kRefocused);
        if (nearer_m >= measured.nearest_m)
            other.focus_m = nearer_m;
        else if (farther_m <= measured.farthest_m)
            other.focus_m = farther_m;
        else
            return;
        calib::Lens there = sources_.table->lookup.at(other).lens;
        // Nothing to find out where the lens does not breathe.
        constexpr double kBreathes = 1e-5;
        if (std::abs(there.focal_mm / lens.focal_mm - 1) < kBreathes) return;
        plate_.refocused = std::move(there);
    }

    void setFocal() {
        const std::optional<double> reported =
            sources_.report ? sources_.report->focal_mm : std::nullopt;
        const std::optional<double> told = sources_.focal_mm ? sources_.focal_mm : reported;
        const bool measured = sample_ && sample_->has_focal && !sample_->focal_is_nominal;
        if (focal_from_table_) {
            plate_.focal_sigma = kMeasured;
            if (!sensor_known_) warnOfSensor();
        } else if (measured) {
            plate_.focal_sigma = kMeasured;
            if (told && !near(*told, sample_->lens.focal_mm, 0.1))
                warnings_.push_back(
                    said("the lens track's focal length is %.4g mm, not %.4g mm; "
                         "the track's is used",
                         sample_->lens.focal_mm, *told));
            if (!sensor_known_) warnOfSensor();
        } else if (told) {
            setNominal(*told);
        } else if (sample_ && sample_->has_focal) {
            setNominal(sample_->lens.focal_mm);
        } else if (file_.focal_mm) {
            setNominal(*file_.focal_mm);
            widenByEquivalent();
        } else if (file_.focal_35mm_equivalent) {
            const double diagonal_mm = 2 * plate_.sensor.halfDiagonal_mm();
            plate_.lens.focal_mm = *file_.focal_35mm_equivalent * diagonal_mm / kDiagonal35_mm;
            plate_.focal_sigma = kNominal;
        } else {
            const double half_view = 0.5 * kGuessedView_deg * 3.14159265358979323846 / 180;
            plate_.lens.focal_mm = 0.5 * std::max(plate_.sensor.width_mm, plate_.sensor.height_mm) /
                                   std::tan(half_view);
            plate_.focal_sigma = kGuessed;
            warnings_.push_back(
                said("no focal length is known; %.0f degrees along the long side are assumed and "
                     "the solve has to find it",
                     kGuessedView_deg));
        }
    }

    void setNominal(double focal_mm) {
        plate_.lens.focal_mm = focal_mm;
        plate_.focal_sigma = kNominal;
        if (!sensor_known_) warnOfSensor();
    }

    void warnOfSensor() {
        plate_.focal_sigma = kGuessed;
        warnings_.push_back(
            said("the focal length is %.4g mm but the sensor's size is not known; %.0f mm width is "
                 "assumed and the solve has to find the angle (give the sensor's width)",
                 plate_.lens.focal_mm, plate_.sensor.width_mm));
    }

    // Two statements of one file that disagree leave the truth somewhere between them.
    void widenByEquivalent() {
        if (!file_.focal_35mm_equivalent || !sensor_known_) return;
        const double equivalent_mm =
            plate_.lens.focal_mm * kDiagonal35_mm / (2 * plate_.sensor.halfDiagonal_mm());
        const double apart = std::abs(equivalent_mm / *file_.focal_35mm_equivalent - 1);
        plate_.focal_sigma = std::clamp(apart, plate_.focal_sigma, kGuessed);
    }

    void setPose() {
        if (sample_ && sample_->pose) {
            plate_.pose = plate_.tracked_pose = sample_->pose;
            plate_.pose_sigma_deg = kTracked_deg;
            if (sample_->translation_m)
                plate_.pupil_m =
                    *sample_->translation_m +
                    calib::worldFromCamera(*sample_->pose) *
                        calib::Vector3d(0, plate_.lens.entrance_pupil_offset_m.value_or(0), 0);
        }
        const auto* report = sources_.report;
        if (!report || (!report->pan_deg && !report->tilt_deg && !report->roll_deg)) return;
        if (!plate_.pose && (!report->pan_deg || !report->tilt_deg)) {
            warnings_.push_back(
                "the camera report gives only part of its direction (pan_deg and "
                "tilt_deg are needed); it is not used");
            return;
        }
        calib::PanTiltRoll pose = plate_.pose.value_or(calib::PanTiltRoll{});
        pose.pan_deg = report->pan_deg.value_or(pose.pan_deg);
        pose.tilt_deg = report->tilt_deg.value_or(pose.tilt_deg);
        pose.roll_deg = report->roll_deg.value_or(pose.roll_deg);
        plate_.pose = pose;
        plate_.pose_sigma_deg = kRead_deg;
    }

    // The picture stands upright, the track's sensor lies down: the pose's roll tells which way the
    // picture was turned.
    void turnUpright() {
        constexpr double kQuarter_deg = 90, kHalf_deg = 45;
        const auto isQuarter = [](double roll_deg) {
            return std::abs(std::abs(std::remainder(roll_deg, 360.0)) - kQuarter_deg) < kHalf_deg;
        };
        const auto& pose = plate_.pose;
        const double roll_deg = pose ? std::remainder(pose->roll_deg, 360.0) : 0;
        const bool told = isQuarter(roll_deg);
        const bool clockwise = !told || roll_deg > 0;
        const QuarterTurn turn = clockwise ? QuarterTurn::clockwise : QuarterTurn::counterclockwise;
        plate_.lens = turned(plate_.lens, turn);
        if (told) plate_.file.quarter_turn = clockwise ? 1 : -1;
        if (plate_.refocused) plate_.refocused = turned(*plate_.refocused, turn);
        // Whoever says a roll of a quarter speaks of the sensor as it lay.
        const double quarter_deg = clockwise ? kQuarter_deg : -kQuarter_deg;
        for (auto* said : {&plate_.pose, &plate_.tracked_pose})
            if (*said && isQuarter((*said)->roll_deg))
                (*said)->roll_deg = std::remainder((*said)->roll_deg - quarter_deg, 360.0);
        const bool matters = plate_.lens.distortion_offset_mm != calib::Vector2d::Zero() ||
                             plate_.lens.projection_offset_mm != calib::Vector2d::Zero() ||
                             plate_.lens.distortion.tangential != std::array<double, 2>{};
        if (!told && matters)
            warnings_.push_back(
                "the picture stands upright but its lens data's sensor lies down, and no roll "
                "tells which way it was turned; clockwise is assumed for the lens's centre");
    }

    const CameraSources& sources_;
    const io::LensSample* sample_;
    Plate& plate_;
    const io::PlateFile& file_;
    bool sensor_known_ = true;
    bool turned_ = false;  // by a quarter, since it was recorded
    bool focal_from_table_ = false;
    std::vector<std::string> warnings_;
};

}  // namespace

Equivalent35 equivalent35(int width_px, int height_px) {
    const double diagonal_px = std::hypot(width_px, height_px);
    return {kDiagonal35_mm * width_px / diagonal_px, kDiagonal35_mm * height_px / diagonal_px};
}

std::vector<std::string> describeCamera(const CameraSources& sources, Plate* plate) {
    return CameraDescription(sources, plate).run();
}

}  // namespace plateloom::stitch
