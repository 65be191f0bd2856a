#include "stitch/compose/compose_tile.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

// Which cells of the label grid bear on a pixel along one axis: the quadratic B-spline's three, so
// that plates pass into each other over about two cells.
struct SplineTaps {
    int first = 0;
    float weight[3] = {0, 0, 0};
};

SplineTaps splineTaps(double position) {
    const double at = position - 0.5;
    const double middle = std::floor(at + 0.5);
    const float t = float(at - middle);
    return {int(middle) - 1,
            {0.5f * (0.5f - t) * (0.5f - t), 0.75f - t * t, 0.5f * (0.5f + t) * (0.5f + t)}};
}

}  // namespace

// One tile being composed, by one thread.
class TileComposer::Work {
public:
    Work(const TileComposer& shared, const TileRect& tile)
        : shared_(shared),
          tile_(tile),
          step_(latticeStep(shared.grid_)),
          range_{tile.x / step_, tile.y / step_, (tile.x + tile.width - 1) / step_ + 1,
                 (tile.y + tile.height - 1) / step_ + 1},
          warps_(shared.plates_.size()),
          rgba_(size_t(step_) * step_ * 4),
          sum_(rgba_.size()),
          wanted_(rgba_.size() / 4) {}

    io::Picture run() {
        io::Picture picture(tile_.width, tile_.height, 4);
        if (!anyPlateInReach()) return picture;
        for (int cy = range_.y0; cy < range_.y1; ++cy)
            for (int cx = range_.x0; cx < range_.x1; ++cx)
                if (composeCell(cx, cy)) copyCell(cx, cy, picture);
        return picture;
    }

private:
    // Labels around one cell of the panorama and the spline over them.
    struct Around {
        std::vector<SplineTaps> x, y;  // one a pixel column, one a pixel row
        int x0 = 0, y0 = 0, width = 0, height = 0;
        std::vector<size_t> cells;      // width x height of the label grid
        std::vector<uint16_t> present;  // without repeats, ascending, without kNoPlate
        bool single = false;            // one label everywhere
    };

    [[nodiscard]] bool anyPlateInReach() const {
        constexpr int kSteps = 8;
        const calib::Vector3d middle = direction(0.5, 0.5);
        double radius_rad = 0;
        for (int j = 0; j <= kSteps; ++j)
            for (int i = 0; i <= kSteps; ++i)
                radius_rad = std::max(
                    radius_rad, angle(middle, direction(double(i) / kSteps, double(j) / kSteps)));
        radius_rad *= 1.2;  // between two of the directions looked at
        return std::any_of(shared_.cones_.begin(), shared_.cones_.end(), [&](const auto& cone) {
            return angle(middle, cone.axis) <= cone.reach_rad + radius_rad;
        });
    }

    [[nodiscard]] calib::Vector3d direction(double u, double v) const {
        return shared_.grid_.directionAt(tile_.x + u * tile_.width, tile_.y + v * tile_.height);
    }
    static double angle(const calib::Vector3d& a, const calib::Vector3d& b) {
        return std::atan2(a.cross(b).norm(), a.dot(b));
    }

    PlateWarp& warp(uint16_t plate) {
        auto& warp = warps_[plate];
        if (!warp)
            warp = std::make_unique<PlateWarp>(shared_.plates_[plate], *shared_.split_plates_,
                                               shared_.grid_, range_);
        return *warp;
    }

    [[nodiscard]] const LabelMap& labels() const { return shared_.labels_.map; }

    // A label cell that may lie beyond the map: beyond a pole the sphere goes on half a turn away.
    [[nodiscard]] size_t labelCell(int x, int y) const {
        const bool beyond = y < 0 || y >= labels().height;
        if (!beyond || shared_.grid_.projection != Projection::equirectangular)
            return labels().wrappedCell(x, y);
        return labels().wrappedCell(x + labels().width / 2,
                                    y < 0 ? -1 - y : 2 * labels().height - 1 - y);
    }

    void lookAround(int cx, int cy) {
        const double ratio_x = double(labels().width) / shared_.grid_.width;
        const double ratio_y = double(labels().height) / shared_.grid_.height;
        around_.x.resize(size_t(step_));
        around_.y.resize(size_t(step_));
        for (int k = 0; k < step_; ++k) {
            around_.x[size_t(k)] = splineTaps((cx * step_ + k + 0.5) * ratio_x);
            around_.y[size_t(k)] = splineTaps((cy * step_ + k + 0.5) * ratio_y);
        }
        around_.x0 = around_.x.front().first;
        around_.y0 = around_.y.front().first;
        around_.width = around_.x.back().first + 3 - around_.x0;
        around_.height = around_.y.back().first + 3 - around_.y0;
        around_.cells.clear();
        around_.present.clear();
        const auto meet = [&](uint16_t label) {
            auto& present = around_.present;
            const auto place = std::lower_bound(present.begin(), present.end(), label);
            if (place == present.end() || *place != label) present.insert(place, label);
        };
        for (int y = 0; y < around_.height; ++y)
            for (int x = 0; x < around_.width; ++x) {
                const size_t cell = labelCell(around_.x0 + x, around_.y0 + y);
                around_.cells.push_back(cell);
                meet(labels().label[cell]);
                if (shared_.labels_.passes()) meet(shared_.labels_.next.label[cell]);
            }
        around_.single = around_.present.size() == 1;
        if (around_.present.back() == kNoPlate) around_.present.pop_back();
    }

    // Adds the plate to the cell's sums: its light x gain x weight, and its weight, which is its
    // share of the pixel times its alpha there. `wanted_` is what the weight were if it covered.
    void addPlate(uint16_t plate, const float* rgba) {
        if (!fetchGains(plate)) {
            for (size_t i = 0; i < wanted_.size(); ++i) {
                const float* in = rgba + 4 * i;
                for (size_t c = 0; c < 3; ++c) sum_[4 * i + c] = in[3] * in[c];
                sum_[4 * i + 3] = in[3];
                wanted_[i] = in[3] > 0 ? 1.0f : 0.0f;
            }
            return;
        }
        std::vector<float>& column = column_;  // per label-grid column: gain r g b, share
        column.resize(size_t(around_.width) * 4);
        for (int row = 0; row < step_; ++row) {
            const SplineTaps& ty = around_.y[size_t(row)];
            const size_t from_row = size_t(ty.first - around_.y0) * around_.width;
            for (int i = 0; i < around_.width * 4; ++i) {
                float value = 0;
                for (int k = 0; k < 3; ++k)
                    value += ty.weight[k] * gains_[(from_row + size_t(k) * around_.width) * 4 + i];
                column[size_t(i)] = value;
            }
            const float* in = rgba + size_t(row) * step_ * 4;
            float* out = &sum_[size_t(row) * step_ * 4];
            float* wanted = &wanted_[size_t(row) * step_];
            for (int x = 0; x < step_; ++x, in += 4, out += 4, ++wanted) {
                const SplineTaps& tx = around_.x[size_t(x)];
                const float* taps = &column[size_t(tx.first - around_.x0) * 4];
                float gain[4];
                for (int c = 0; c < 4; ++c)
                    gain[c] = tx.weight[0] * taps[c] + tx.weight[1] * taps[4 + c] +
                              tx.weight[2] * taps[8 + c];
                const float share = sharpened(gain[3]), weight = share * in[3];
                for (int c = 0; c < 3; ++c) out[c] += weight * gain[c] * in[c];
                out[3] += weight;
                if (in[3] > 0) *wanted += share;
            }
        }
    }

    // What is finer than a label cell passes from plate to plate within half a cell: bands have
    // brought the rest together, and where things don't lie at the same place a short passage blurs
    // less. Shares are divided by their sum in the end.
    static float sharpened(float share) { return share * share * share; }

    // Gains of the plate around the cell, and its share of each label cell beside them. False where
    // the plate is alone and its gain 1: then its light passes as it is, to the last bit.
    bool fetchGains(uint16_t plate) {
        gains_.clear();
        bool changes = !around_.single;
        const GainField& field = shared_.gains_[plate];
        const auto across = size_t(labels().width);
        for (const size_t cell : around_.cells) {
            const float* gain = field.at(int(cell % across), int(cell / across), labels().width);
            changes |= gain[0] != 1 || gain[1] != 1 || gain[2] != 1;
            gains_.insert(gains_.end(), gain, gain + 3);
            gains_.push_back(shared_.labels_.of(plate, cell));
        }
        return changes;
    }

    bool composeCell(int cx, int cy) {
        lookAround(cx, cy);
        std::fill(sum_.begin(), sum_.end(), 0.0f);
        std::fill(wanted_.begin(), wanted_.end(), 0.0f);
        bool any = false;
        for (const uint16_t plate : around_.present) {
            if (!warp(plate).cell(cx, cy, rgba_.data())) continue;
            addPlate(plate, rgba_.data());
            any = true;
        }
        any |= fillMissing(cx, cy);
        if (!any) return false;
        for (size_t i = 0; i < sum_.size(); i += 4) {
            const float share = sum_[i + 3];
            if (share == 0) continue;
            if (share != 1)
                for (int c = 0; c < 3; ++c) sum_[i + c] /= share;
            sum_[i + 3] = 1;
        }
        return true;
    }

    // Pixels that the labels' plates don't hold (beyond a frame's edge that cuts a label cell, or a
    // broken pixel) are taken from any other plate that does, nearest axis first; so is the rest of
    // what they cover in part.
    bool fillMissing(int cx, int cy) {
        if (!anyMissing(cx, cy)) return false;
        const calib::Vector3d middle =
            shared_.grid_.directionAt((cx + 0.5) * step_, (cy + 0.5) * step_);
        std::vector<std::pair<double, uint16_t>> others;
        for (size_t i = 0; i < shared_.plates_.size(); ++i) {
            const auto& cone = shared_.cones_[i];
            const double off_axis = angle(middle, cone.axis);
            const double margin = 2.0 * step_ / shared_.grid_.pixelsPerRadian();
            if (off_axis > cone.reach_rad + margin) continue;
            if (std::binary_search(around_.present.begin(), around_.present.end(), uint16_t(i)))
                continue;
            others.emplace_back(off_axis, uint16_t(i));
        }
        std::sort(others.begin(), others.end());
        bool any = false;
        for (const auto& [off_axis, plate] : others) {
            if (!warp(plate).cell(cx, cy, rgba_.data())) continue;
            fetchGains(plate);
            for (size_t i = 0; i < sum_.size(); i += 4) {
                if (rgba_[i + 3] == 0 || isFull(i / 4)) continue;
                const size_t row = i / 4 / size_t(step_), x = i / 4 % size_t(step_);
                const size_t gain = (size_t(around_.y[row].first + 1 - around_.y0) * around_.width +
                                     size_t(around_.x[x].first + 1 - around_.x0)) *
                                    4;
                float& wanted = wanted_[i / 4];
                if (wanted == 0) wanted = 1;
                const float weight = (wanted - sum_[i + 3]) * rgba_[i + 3];
                for (int c = 0; c < 3; ++c) sum_[i + c] += weight * rgba_[i + c] * gains_[gain + c];
                sum_[i + 3] += weight;
                any = true;
            }
            if (!anyMissing(cx, cy)) break;
        }
        return any;
    }

    // Pixels beyond the panorama's own edge don't count.
    [[nodiscard]] bool anyMissing(int cx, int cy) const {
        const int width = std::min(step_, shared_.grid_.width - cx * step_);
        const int height = std::min(step_, shared_.grid_.height - cy * step_);
        for (int y = 0; y < height; ++y)
            for (int x = 0; x < width; ++x)
                if (!isFull(size_t(y) * step_ + x)) return true;
        return false;
    }
    [[nodiscard]] bool isFull(size_t pixel) const {
        return sum_[4 * pixel + 3] > 0 && sum_[4 * pixel + 3] >= wanted_[pixel];
    }

    void copyCell(int cx, int cy, io::Picture& picture) const {
        const int x0 = cx * step_ - tile_.x, y0 = cy * step_ - tile_.y;
        const int width = std::min(step_, tile_.width - x0);
        const int height = std::min(step_, tile_.height - y0);
        for (int y = 0; y < height; ++y)
            std::copy_n(&sum_[size_t(y) * step_ * 4], width * 4, picture.at(x0, y0 + y));
    }

    const TileComposer& shared_;
    TileRect tile_;
    int step_;
    CellRange range_;
    std::vector<std::unique_ptr<PlateWarp>> warps_;
    std::vector<float> rgba_, sum_;
    std::vector<float> wanted_;  // per pixel: the sum's weight if its plates covered it whole
    std::vector<float> gains_, column_;
    Around around_;
};

TileComposer::TileComposer(const std::vector<PlacedPlate>& plates, PlateStore& store,
                           const PanoramaGrid& grid, LabelBlend labels,
                           std::vector<GainField> gains)
    : plates_(plates),
      split_plates_(std::make_unique<SplitPlates>(
          store,
          [&plates, grid](int index) {
              const auto placed =
                  std::find_if(plates.begin(), plates.end(),
                               [&](const auto& plate) { return plate.plate == index; });
              return largestScale(*placed, grid);
          })),
      grid_(grid),
      labels_(std::move(labels)),
      gains_(std::move(gains)) {
    for (const auto& plate : plates) cones_.push_back(pictureCone(plate));
}

io::Picture TileComposer::compose(const TileRect& tile) const {
    assert(tile.x % 16 == 0 && tile.y % 16 == 0);
    return Work(*this, tile).run();
}

}  // namespace plateloom::stitch
