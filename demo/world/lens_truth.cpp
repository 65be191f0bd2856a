#include "world/lens_truth.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>

#include "io/input_error.h"

namespace plateloom::world {

namespace {

using calib::Matrix3d;
using calib::Vector2d;
using calib::Vector3d;

constexpr int kAcross = 17, kDown = 11;  // pixels looked at, the corners among them
constexpr const char* kDU = "D-U";
constexpr const char* kUD = "U-D";

// Corners first: along one diagonal, along the other.
std::vector<Vector2d> places(const calib::Sensor& sensor) {
    std::vector<Vector2d> out;
    const auto add = [&](double x, double y) {
        out.emplace_back(0.5 + x * (sensor.width_px - 1), 0.5 + y * (sensor.height_px - 1));
    };
    add(0, 0), add(1, 1), add(1, 0), add(0, 1);
    for (int y = 0; y < kDown; ++y)
        for (int x = 0; x < kAcross; ++x)
            if ((x != 0 && x != kAcross - 1) || (y != 0 && y != kDown - 1))
                add(x / (kAcross - 1.0), y / (kDown - 1.0));
    return out;
}

std::vector<Vector3d> raysOf(const calib::LensMap& lens, const std::vector<Vector2d>& at_px,
                             const std::string& file) {
    std::vector<Vector3d> out;
    for (const Vector2d& px : at_px) {
        const auto ray = lens.rayFromRecorded(px);
        if (!ray) throw io::InputError(file, "its lens does not reach the frame's corners");
        out.push_back(*ray);
    }
    return out;
}

double angle(const Vector3d& a, const Vector3d& b) {
    return std::atan2(a.cross(b).norm(), a.dot(b));
}

// Least squares: W. Kabsch, A solution for the best rotation to relate two sets of vectors, Acta
// Crystallographica A 32 (1976).
class BestTurn {
public:
    void add(const std::vector<Vector3d>& from, const std::vector<Vector3d>& to) {
        for (size_t i = 0; i < from.size(); ++i) sum_ += to[i] * from[i].transpose();
    }
    [[nodiscard]] Matrix3d toFromFrom() const { return calib::nearestRotation(sum_); }

private:
    Matrix3d sum_ = Matrix3d::Zero();
};

std::vector<Vector3d> turned(const Matrix3d& rotation, std::vector<Vector3d> rays) {
    for (Vector3d& ray : rays) ray = rotation * ray;
    return rays;
}

void judgeLens(const std::vector<Vector3d>& solved, const std::vector<Vector3d>& truth,
               double focal_px, PictureError* out) {
    BestTurn turn;
    turn.add(solved, truth);
    // Sized after it is turned, turned again after it is sized: the two hardly meet.
    Matrix3d best = turn.toFromFrom();
    double size = 1;
    std::vector<Vector3d> sized = solved;
    for (int round = 0; round < 4; ++round) {
        double across = 0, square = 0;
        for (size_t i = 0; i < solved.size(); ++i) {
            const Vector3d ray = best * solved[i];
            const Vector2d p(ray.x() / ray.y(), ray.z() / ray.y());
            const Vector2d q(truth[i].x() / truth[i].y(), truth[i].z() / truth[i].y());
            across += p.dot(q);
            square += p.squaredNorm();
        }
        size = across / square;
        for (size_t i = 0; i < solved.size(); ++i) {
            // Sized about the true axis, where the turned picture's own axis nearly is.
            const Vector3d ray = best * solved[i];
            sized[i] =
                best.transpose() * Vector3d(size * ray.x(), ray.y(), size * ray.z()).normalized();
        }
        BestTurn again;
        again.add(sized, truth);
        best = again.toFromFrom();
    }
    out->turn_px = calib::angleBetween_deg(best, Matrix3d::Identity()) * focal_px * EIGEN_PI / 180;
    out->size_ratio = size;
    double square = 0;
    for (size_t i = 0; i < sized.size(); ++i) {
        const double off_px = focal_px * angle(best * sized[i], truth[i]);
        square += off_px * off_px;
        if (i < 4) out->left_corner_px = std::max(out->left_corner_px, off_px);
    }
    out->left_rms_px = std::sqrt(square / double(sized.size()));
    for (const size_t corner : {size_t(0), size_t(2)})
        out->diagonal_px = std::max(out->diagonal_px,
                                    focal_px * std::abs(angle(solved[corner], solved[corner + 1]) -
                                                        angle(truth[corner], truth[corner + 1])));
}

}  // namespace

std::vector<TrueCamera> trueCameras(const Shoot& shoot) {
    std::vector<TrueCamera> out;
    for (const PlannedPlate& plate : shoot.plates)
        out.push_back({plate.file, plate.pose, plate.lens, shoot.sensor});
    return out;
}

void writeTrueCameras(const std::filesystem::path& path, const Shoot& shoot) {
    std::ofstream out(path);
    out.precision(15);
    out << "file,pan_deg,tilt_deg,roll_deg,sensor_width_mm,sensor_height_mm,width_px,height_px,"
           "model,focal_mm,k1,k2,k3,k4,k5,k6,p1,p2,distortion_x_mm,distortion_y_mm,"
           "projection_x_mm,projection_y_mm\n";
    for (const TrueCamera& camera : trueCameras(shoot)) {
        const auto& lens = camera.lens;
        const bool d_u = lens.distortion.direction == calib::DistortionDirection::recorded_to_flat;
        out << camera.file << ',' << camera.pose.pan_deg << ',' << camera.pose.tilt_deg << ','
            << camera.pose.roll_deg << ',' << camera.sensor.width_mm << ','
            << camera.sensor.height_mm << ',' << camera.sensor.width_px << ','
            << camera.sensor.height_px << ',' << (d_u ? kDU : kUD) << ',' << lens.focal_mm;
        for (const double k : lens.distortion.radial) out << ',' << k;
        for (const double p : lens.distortion.tangential) out << ',' << p;
        out << ',' << lens.distortion_offset_mm.x() << ',' << lens.distortion_offset_mm.y() << ','
            << lens.projection_offset_mm.x() << ',' << lens.projection_offset_mm.y() << '\n';
    }
    if (!out) throw io::RoomError(path.string(), "can't be written");
}

std::vector<TrueCamera> readTrueCameras(const std::filesystem::path& path) {
    std::ifstream in(path);
    std::string line;
    if (!in || !std::getline(in, line))
        throw io::InputError(path.string(), "is missing or empty; render the shoot again");
    std::vector<TrueCamera> cameras;
    while (std::getline(in, line)) {
        std::replace(line.begin(), line.end(), ',', ' ');
        std::istringstream fields(line);
        TrueCamera c;
        std::string model;
        auto& lens = c.lens;
        fields >> c.file >> c.pose.pan_deg >> c.pose.tilt_deg >> c.pose.roll_deg >>
            c.sensor.width_mm >> c.sensor.height_mm >> c.sensor.width_px >> c.sensor.height_px >>
            model >> lens.focal_mm;
        for (double& k : lens.distortion.radial) fields >> k;
        for (double& p : lens.distortion.tangential) fields >> p;
        fields >> lens.distortion_offset_mm.x() >> lens.distortion_offset_mm.y() >>
            lens.projection_offset_mm.x() >> lens.projection_offset_mm.y();
        if (!fields || (model != kDU && model != kUD))
            throw io::InputError(path.string(), "does not hold true cameras: " + line);
        lens.distortion.direction = model == kDU ? calib::DistortionDirection::recorded_to_flat
                                                 : calib::DistortionDirection::flat_to_recorded;
        cameras.push_back(c);
    }
    return cameras;
}

PictureErrors comparePictures(const std::vector<io::SolvedPlate>& solve,
                              const std::vector<TrueCamera>& truth) {
    struct Pair {
        std::vector<Vector3d> solved, truth;  // in the two worlds
    };
    PictureErrors out;
    std::vector<Pair> pairs;
    std::vector<double> focals_px;
    BestTurn whole;
    for (const TrueCamera& real : truth) {
        const auto plate = std::find_if(solve.begin(), solve.end(),
                                        [&](const auto& one) { return one.file == real.file; });
        if (plate == solve.end() || !plate->placed || plate->placed_by == "pose") continue;
        const auto at_px = places(real.sensor);
        const calib::LensMap true_lens(real.lens, real.sensor);
        const auto solved_rays =
            raysOf(calib::LensMap(plate->lens, plate->sensor), at_px, plate->file);
        const auto true_rays = raysOf(true_lens, at_px, real.file);
        PictureError error;
        error.file = real.file;
        judgeLens(solved_rays, true_rays, true_lens.focal_px(), &error);
        out.each.push_back(error);
        focals_px.push_back(true_lens.focal_px());
        pairs.push_back({turned(calib::worldFromCamera(plate->pose), solved_rays),
                         turned(calib::worldFromCamera(real.pose), true_rays)});
        whole.add(pairs.back().solved, pairs.back().truth);
    }
    if (pairs.empty()) return out;
    const Matrix3d truthFromSolve = whole.toFromFrom();
    const double share = 1 / double(pairs.size());
    for (size_t p = 0; p < pairs.size(); ++p) {
        PictureError& error = out.each[p];
        double square = 0;
        for (size_t i = 0; i < pairs[p].solved.size(); ++i) {
            const double off_px =
                focals_px[p] * angle(truthFromSolve * pairs[p].solved[i], pairs[p].truth[i]);
            square += off_px * off_px;
            error.largest_px = std::max(error.largest_px, off_px);
        }
        error.rms_px = std::sqrt(square / double(pairs[p].solved.size()));
        out.rms_px += share * error.rms_px * error.rms_px;
        out.turn_rms_px += share * error.turn_px * error.turn_px;
        out.left_rms_px += share * error.left_rms_px * error.left_rms_px;
        out.largest_px = std::max(out.largest_px, error.largest_px);
        out.left_corner_px = std::max(out.left_corner_px, error.left_corner_px);
        out.diagonal_px = std::max(out.diagonal_px, error.diagonal_px);
    }
    for (double* sum : {&out.rms_px, &out.turn_rms_px, &out.left_rms_px}) *sum = std::sqrt(*sum);
    return out;
}

}  // namespace plateloom::world
