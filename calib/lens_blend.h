// A lens between two samples of a lens track, and a pose between two poses: what a focus pull, an
// iris pull, a zoom or a pan was at a moment that no sample was taken at.
//
// Every quantity goes evenly from one sample to the next in the unit in which a lens works:
//   focal length, offsets, entrance pupil            linearly in mm (m)
//   distortion and shading coefficients              linearly: U and the transmission are linear in
//                                                    them (but for k2, k4, k6 below the line), so
//                                                    positions and light go evenly as well
//   focus distance                                   linearly in 1/m: a thin lens's extension is
//                                                    F² / (distance - F), near enough to F² /
//                                                    distance
//   T-stop, f-stop                                   linearly in stops, 2 log2(N): geometrically
//   pose                                             the shortest turn at constant speed:
//                                                    Shoemake, Animating rotation with quaternion
//                                                    curves (SIGGRAPH 1985), eq. for slerp
// `share` is 0 at the first and 1 at the second sample, where the answer is that sample exactly.
#pragma once

#include "calib/lens.h"
#include "calib/pose.h"

namespace plateloom::calib {

/// Whether there is a lens between the two. There is none where their polynomials run in opposite
/// directions (D-U and U-D): the coefficients of one say nothing in the other. A lens without
/// distortion goes with either.
[[nodiscard]] bool canBlend(const Lens& a, const Lens& b);

/// Needs canBlend. What only one of the two knows (focus, stops, entrance pupil) is not known
/// between them. A share a little outside 0 to 1 (down to -4 and up to 5) goes on in a straight
/// line.
[[nodiscard]] Lens blendLenses(const Lens& a, const Lens& b, double share);

[[nodiscard]] PanTiltRoll blendPoses(const PanTiltRoll& a, const PanTiltRoll& b, double share);

}  // namespace plateloom::calib
