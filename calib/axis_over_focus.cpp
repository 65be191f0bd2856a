#include "calib/axis_over_focus.h"

#include <Eigen/LU>
#include <cassert>
#include <cmath>

namespace plateloom::calib {

bool AxisOverFocus::isContradicted() const {
    return chi_square > freedom + 3 * std::sqrt(2.0 * freedom);
}

AxisOverFocus axisOverFocus(const std::vector<AxisMeasured>& measured, bool goes_with_focus) {
    const Eigen::Index unknowns = goes_with_focus ? 2 : 1;
    assert(Eigen::Index(measured.size()) > unknowns);
    AxisOverFocus out;
    out.axis_mm.resize(measured.size());
    out.sigma_mm.resize(measured.size());
    out.freedom = 2 * int(Eigen::Index(measured.size()) - unknowns);
    // About the middle focus, so that the two unknowns hardly know of each other.
    double middle = 0;
    for (const auto& at : measured) middle += at.per_focus / double(measured.size());
    for (Eigen::Index i = 0; i < 2; ++i) {
        Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
        Vector2d right = Vector2d::Zero();
        const auto row = [&](const AxisMeasured& at) {
            return Vector2d(1, goes_with_focus ? at.per_focus - middle : 0);
        };
        for (const auto& at : measured) {
            const double weight = 1 / (at.sigma_mm[i] * at.sigma_mm[i]);
            normal += weight * row(at) * row(at).transpose();
            right += weight * at.axis_mm[i] * row(at);
        }
        if (!goes_with_focus) normal(1, 1) = 1;
        const Eigen::Matrix2d covariance = normal.inverse();
        const Vector2d found = covariance * right;
        for (size_t s = 0; s < measured.size(); ++s) {
            const Vector2d here = row(measured[s]);
            out.axis_mm[s][i] = found.dot(here);
            out.sigma_mm[s][i] = std::sqrt(here.dot(covariance * here));
            out.chi_square +=
                std::pow((measured[s].axis_mm[i] - out.axis_mm[s][i]) / measured[s].sigma_mm[i], 2);
        }
    }
    return out;
}

}  // namespace plateloom::calib
