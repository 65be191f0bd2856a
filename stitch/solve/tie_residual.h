// The residual of one tie point: plate a's flat position, sent through both cameras onto plate b's
// flat plane, against plate b's own flat position. In pixels of plate b, divided by the tie's
// sigma. stitch/solve/tie_cost.h gives the solver the same with its derivatives.
//
// Parameters: unit quaternions worldFromCamera (Eigen's order: x, y, z, w) of a and b; for each
// lens group its terms (stitch/plates/lens_terms.h); for each plate its breathing.
#pragma once

#include <Eigen/Geometry>
#include <array>

#include "stitch/plates/lens_terms.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// One end of a tie: a flat position, and what turns it into a ray.
struct FlatPoint {
    Vector2d mm = Vector2d::Zero();  ///< from the axis of the plate's own lens data
    double focal_mm = 0;             ///< before the correction
    double half_diagonal_mm = 1;
    Vector2d px_per_mm = Vector2d::Ones();
    bool bends = false;          ///< all terms apply: the plate came without distortion data
    double known_breathing = 1;  ///< Plate::known_breathing
    /// How the position goes with the plate's breathing, for a lens from a table.
    Vector2d by_breathing_mm = Vector2d::Zero();
    /// How it goes with radial and tangential terms added to its own, column by column.
    Eigen::Matrix<double, 2, 3> by_radial_mm = Eigen::Matrix<double, 2, 3>::Zero();
    Eigen::Matrix2d by_tangential_mm = Eigen::Matrix2d::Zero();

    /// Position after the lens correction, from the corrected axis.
    template <class T>
    [[nodiscard]] Eigen::Matrix<T, 2, 1> corrected_mm(const T* lens, const T& breathing) const {
        if (!bends) {
            const Eigen::Matrix<T, 2, 1> axis(lens[kAxisX], lens[kAxisY]);
            const Eigen::Matrix<T, 3, 1> radial(lens[kC1], lens[kC2], lens[kC3]);
            const Eigen::Matrix<T, 2, 1> tangential(lens[kP1], lens[kP2]);
            return mm.cast<T>() + by_breathing_mm.cast<T>() * (breathing - 1.0) +
                   by_radial_mm.cast<T>() * radial + by_tangential_mm.cast<T>() * tangential - axis;
        }
        const T x = (mm.x() - lens[kAxisX] - lens[kCentreX]) / half_diagonal_mm;
        const T y = (mm.y() - lens[kAxisY] - lens[kCentreY]) / half_diagonal_mm;
        const T r2 = x * x + y * y;
        const T c1 = lens[kC1] + lens[kC1ByBreathing] * (known_breathing * breathing - 1.0);
        const T R = 1.0 + r2 * (c1 + r2 * (lens[kC2] + r2 * lens[kC3]));
        const T &p1 = lens[kP1], &p2 = lens[kP2];
        return {half_diagonal_mm * (R * x + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)) +
                    lens[kCentreX],
                half_diagonal_mm * (R * y + 2.0 * p2 * x * y + p1 * (r2 + 2.0 * y * y)) +
                    lens[kCentreY]};
    }
};

struct TieResidual {
    FlatPoint a, b;
    double weight = 1;  ///< 1 / sigma_px
    /// The groups' corrections where they are not solved for.
    LensTerms lens_a = kLensAsKnown, lens_b = kLensAsKnown;

    template <class T>
    bool operator()(const T* worldFromA, const T* worldFromB, const T* correction_a,
                    const T* correction_b, const T* breathing_a, const T* breathing_b,
                    T* residual) const {
        using Vector3 = Eigen::Matrix<T, 3, 1>;
        using Quaternion = Eigen::Map<const Eigen::Quaternion<T>>;
        const auto flat_a = a.corrected_mm(correction_a, breathing_a[0]);
        const T focal_a = a.focal_mm * correction_a[kScale] * breathing_a[0];
        const T focal_b = b.focal_mm * correction_b[kScale] * breathing_b[0];
        const Vector3 ray_a(flat_a.x(), focal_a, -flat_a.y());
        const Vector3 ray_b = Quaternion(worldFromB).conjugate() * (Quaternion(worldFromA) * ray_a);
        // A ray at the side of camera b or behind it has no place on its plane; it is held at 84
        // degrees, far away and still with a slope that brings it back.
        const T least = 0.1 * ray_b.norm();
        const T depth = ray_b.y() > least ? ray_b.y() : least;
        const auto flat_b = b.corrected_mm(correction_b, breathing_b[0]);
        residual[0] = weight * b.px_per_mm.x() * (focal_b * ray_b.x() / depth - flat_b.x());
        residual[1] = weight * b.px_per_mm.y() * (-focal_b * ray_b.z() / depth - flat_b.y());
        return true;
    }
};

}  // namespace plateloom::stitch
