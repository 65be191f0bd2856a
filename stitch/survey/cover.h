// What of the sphere each plate sees, and what all of them see together.
//
// A recorded frame's edge, sent through its lens, is a closed line on the plane before the camera;
// a direction is in the picture when it lies within that line. The line is kept as a distance for
// each angle round the picture's middle, so that a question costs some forty nanoseconds whatever
// the lens: rasters of the sphere are made from millions of them.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "calib/lens.h"
#include "stitch/plates/placed_plate.h"

namespace plateloom::stitch {

using PanTilt_deg = std::array<double, 2>;

[[nodiscard]] calib::Vector3d directionOf(const PanTilt_deg& pan_tilt);
[[nodiscard]] PanTilt_deg panTiltOf(const calib::Vector3d& direction);

/// A recorded frame laid on the sphere. Good to a thousandth of its width, corners included.
class SphereFrame {
public:
    SphereFrame(const calib::LensMap& lens, const calib::Matrix3d& worldFromCamera);

    [[nodiscard]] bool sees(const calib::Vector3d& world_direction) const;
    /// The direction that the picture's middle shows.
    [[nodiscard]] const calib::Vector3d& middle() const { return middle_; }
    /// Cosine of the angle from the middle to the farthest corner.
    [[nodiscard]] double reachCosine() const { return reach_cosine_; }
    /// The edge as directions, `a_side` to each side, not closed.
    [[nodiscard]] std::vector<calib::Vector3d> edge(int a_side) const;
    /// The same as pan and tilt, closed, pan unwrapped.
    [[nodiscard]] std::vector<PanTilt_deg> outline(int a_side) const;
    [[nodiscard]] double solidAngle_sr() const { return solid_angle_sr_; }

    /// Directions spread evenly over the picture: each stands for the same number of pixels.
    [[nodiscard]] std::vector<calib::Vector3d> lattice(int columns, int rows) const;

private:
    void setTable();

    static constexpr int kAngles = 2048;
    calib::LensMap lens_;
    calib::Matrix3d worldFromCamera_, cameraFromWorld_;
    calib::Vector3d middle_ = calib::Vector3d::UnitY();
    double middle_x_ = 0, middle_z_ = 0;  // tangents of the middle's ray
    double reach_cosine_ = 1, solid_angle_sr_ = 0;
    std::array<float, kAngles + 1> edge_at_{};  // distance from the middle by angle
};

[[nodiscard]] std::vector<SphereFrame> sphereFrames(const std::vector<PlacedPlate>& plates);

/// Share (0 to 1) of the smaller plate's picture that the other one sees as well.
[[nodiscard]] double overlapOf(const SphereFrame& a, const SphereFrame& b);

/// How many plates see each cell of a latlong grid: left edge pan +180, top row tilt +90.
struct CoverMap {
    int width = 0, height = 0;
    std::vector<uint8_t> count;

    [[nodiscard]] uint8_t at(int x, int y) const { return count[size_t(y) * width + x]; }
    [[nodiscard]] double pan_deg(double x) const { return 180 - 360 * x / width; }
    [[nodiscard]] double tilt_deg(double y) const { return 90 - 180 * y / height; }
};
/// A cell counts for a plate when its middle does. `width` is even.
[[nodiscard]] CoverMap coverMap(const std::vector<SphereFrame>& frames, int width);

/// Share of the whole sphere that at least one plate sees, by area.
[[nodiscard]] double coveredShare(const CoverMap& map);

}  // namespace plateloom::stitch
