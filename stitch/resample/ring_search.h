// Where a plate's filter would show a ring: samples beside light far above them. The search that
// bright_light.h speaks of. Such a dark sample is one that
//  - has light 9.5 times as bright within 4 output pixels as all light within 2 (under a sinusoid's
//    trough that touches 0 it is at most 4 times as bright, for any period), or
//  - lies in a gap 2 to 4 pixels wide between such lights: a short sinc (6 taps, midway between two
//    samples) gives less than nothing there, as no smooth signal of 6 pixels a period or more does,
// and everything within 5 output pixels of one. They set in smoothly from a contrast of 6 on.
#pragma once

#include <array>
#include <vector>

#include "io/picture.h"
#include "stitch/resample/light_steps.h"
#include "stitch/resample/plate_ranges.h"

namespace plateloom::stitch {

/// The plate in cells of as many pixels as an output pixel has at the least, with the noise floor
/// added to its light. The plate must outlive it.
class PlateCells {
public:
    PlateCells(const io::PlatePixels& plate, double scale);

    [[nodiscard]] int side() const { return side_; }  ///< pixels
    [[nodiscard]] int across() const { return (plate_.width + side_ - 1) / side_; }
    [[nodiscard]] int down() const { return (plate_.height + side_ - 1) / side_; }
    /// Output pixels in cells, rounded up; an output pixel is 1 to 2 cells wide.
    [[nodiscard]] int fromOutput(double output_px) const;
    [[nodiscard]] double perOutput() const { return scale_ / side_; }

    void setLift(const std::array<float, 3>& lift);
    [[nodiscard]] const std::array<float, 4>& lift() const { return lift_; }

    /// `count` pixels of a row: the colour itself plus the noise floor, twice its size where it is
    /// below 0 (a smooth signal passes through 0 without being dark there), 0 where next to nothing
    /// covers. The fourth value is alpha as it is.
    void readLight(int x, int y, int count, float* light) const;
    /// Brightest and darkest of each cell from (x0, y0) on; beyond the plate there is neither, 0
    /// and kMostSteps. The fourth channel of `bright` is kMostSteps where a cell is not opaque.
    void fetch(int x0, int y0, int width, int height, StepPlane& bright, StepPlane& dark) const;

private:
    void include(const float* light, int count, LightSteps* bright, LightSteps* dark) const;

    const io::PlatePixels& plate_;
    double scale_;
    int side_;
    std::array<float, 4> lift_{};
};

/// Where dark samples are: `brightest` less their light in steps, both with the noise floor,
/// lowered where they are hardly any. `ranges` are those of the plate in blocks of `block` cells.
void findDarkSamples(const PlateCells& cells, const PlateRanges& ranges, int block,
                     LightSteps brightest, SparseSteps& found);

/// Whether any block's light is far enough above a neighbour's for findDarkSamples to look there;
/// `lift`: what is added to either.
[[nodiscard]] bool anyContrast(const PlateRanges& ranges, const std::array<float, 4>& lift);

}  // namespace plateloom::stitch
