// Degrees are for people and files, radians for formulas: one place for the step between them.
#pragma once

namespace plateloom::calib {

constexpr double kPi = 3.14159265358979323846;
constexpr double kRadPerDeg = kPi / 180.0;
constexpr double kDegPerRad = 180.0 / kPi;

}  // namespace plateloom::calib
