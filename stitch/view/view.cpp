#include "stitch/view/view.h"

#include <tbb/enumerable_thread_specific.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>

#include "calib/angle.h"
#include "io/input_error.h"
#include "stitch/resample/position_lattice.h"
#include "stitch/resample/resample.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;
using calib::Vector3d;

constexpr int kStep = 16;  // frame pixels between lattice nodes
constexpr double kTolerance_px = 0.001;
constexpr int kCellPixels = kStep * kStep;

// A block of the frame is worked on at once: large, so that the filter's margin weighs little;
// small, so that what it needs of the panorama stays small too.
constexpr int kMostBlock = 128;
constexpr double kBlockReach = 1024;             // panorama pixels across it
constexpr size_t kMostRegion = size_t(4) << 20;  // pixels; beyond it cell by cell
constexpr float kLargestScale = 64;              // of the filter, see filter_bank.h
constexpr int kFilterRadius = 4;
// More around a block, output pixels, so that its neighbours see the same lamps (bright_light.h).
constexpr int kLampMargin = 6;

std::string sizeOf(const io::PanoramaFile& file) {
    return std::to_string(file.width) + " x " + std::to_string(file.height);
}

}  // namespace

io::CylinderBand cylinderBand(double low_deg, double high_deg) {
    constexpr double kSteepest_deg = 89;
    if (low_deg < -kSteepest_deg || high_deg > kSteepest_deg)
        throw io::OptionError("--tilt", "a cylinder covers tilts within -89:89");
    return {std::tan(high_deg * calib::kRadPerDeg), std::tan(low_deg * calib::kRadPerDeg)};
}

PanoramaGrid gridOf(const io::PanoramaFile& file, const PanoramaClaim& claim) {
    PanoramaGrid grid;
    grid.width = file.width;
    grid.height = file.height;
    const auto band = claim.band ? claim.band : file.cylinder;
    const bool cylinder = claim.projection ? *claim.projection == Projection::cylindrical
                                           : !file.latlong && (claim.band || file.cylinder);
    if (cylinder) {
        if (!band)
            throw io::InputError(file.path.string(),
                                 "says nothing of the tilts that this cylinder shows: give --tilt "
                                 "LOW:HIGH in degrees");
        grid.projection = Projection::cylindrical;
        grid.top_tan = band->top_tan;
        grid.bottom_tan = band->bottom_tan;
        return grid;
    }
    if (file.width != 2 * file.height)
        throw io::InputError(
            file.path.string(),
            "is " + sizeOf(file) +
                ", not twice as wide as high, so it is no whole equirectangular panorama" +
                (claim.projection || file.latlong
                     ? ""
                     : ", and it names no other projection: for a cylinder give --projection "
                       "cylindrical --tilt LOW:HIGH"));
    return grid;
}

Vector2d panoramaPixel(const PanoramaGrid& grid, bool samples_on_border,
                       const Vector3d& direction) {
    const Vector2d px = grid.pixelOf(direction);
    if (!samples_on_border) return px;
    // The first and the last sample lie on the border: one interval fewer, half a pixel in.
    return {0.5 + px.x() * (grid.width - 1) / grid.width,
            0.5 + px.y() * (grid.height - 1) / grid.height};
}

std::optional<Vector3d> directionOf(const ViewCamera& camera, Look look, const Vector2d& frame_px) {
    if (look == Look::flat) return camera.worldFromCamera * camera.lens.rayFromFlat(frame_px);
    const auto ray = camera.lens.rayFromRecorded(frame_px);
    if (!ray) return std::nullopt;
    return camera.worldFromCamera * *ray;
}

namespace {

// What the whole frame shares.
struct Frame {
    const io::PanoramaReader& panorama;
    const PanoramaGrid& grid;
    const ViewCamera& camera;
    Look look;
    PixelBounds bounds;
    double period_x = 0;  // panorama pixels round the turn
    io::Picture& picture;

    [[nodiscard]] bool onBorder() const { return panorama.file().samples_on_border; }
};

// What one thread keeps from block to block.
struct Workroom {
    std::vector<SamplePoint> points;
    std::vector<char> shown;  // cells that have any
    io::PlatePixels region;
    std::shared_ptr<const BrightLight> bright;
    std::vector<float> rgba = std::vector<float>(kCellPixels * 4);
};

// The part of the panorama under some cells, in pixels from the block's origin.
struct Reach {
    double x0 = 1e30, y0 = 1e30, x1 = -1e30, y1 = -1e30;
    float scale_x = 1, scale_y = 1;

    void include(const SamplePoint& p) {
        x0 = std::min(x0, double(p.x));
        x1 = std::max(x1, double(p.x));
        y0 = std::min(y0, double(p.y));
        y1 = std::max(y1, double(p.y));
        scale_x = std::max(scale_x, std::min(p.scale_x, kLargestScale));
        scale_y = std::max(scale_y, std::min(p.scale_y, kLargestScale));
    }
    void include(const Reach& other) {
        x0 = std::min(x0, other.x0);
        x1 = std::max(x1, other.x1);
        y0 = std::min(y0, other.y0);
        y1 = std::max(y1, other.y1);
        scale_x = std::max(scale_x, other.scale_x);
        scale_y = std::max(scale_y, other.scale_y);
    }
    [[nodiscard]] bool empty() const { return x0 > x1; }
};

// A rectangle of whole panorama pixels that holds a reach and the filter's margin.
struct Region {
    int x = 0, y = 0, width = 0, height = 0;
    explicit Region(const Reach& reach) {
        const int margin_x = (kFilterRadius + kLampMargin) * int(std::ceil(reach.scale_x)) + 2;
        const int margin_y = (kFilterRadius + kLampMargin) * int(std::ceil(reach.scale_y)) + 2;
        x = int(std::floor(reach.x0)) - margin_x;
        y = int(std::floor(reach.y0)) - margin_y;
        width = int(std::ceil(reach.x1)) + margin_x - x;
        height = int(std::ceil(reach.y1)) + margin_y - y;
    }
    [[nodiscard]] size_t pixels() const { return size_t(width) * size_t(height); }
};

class Block {
public:
    Block(const Frame& frame, const CellRange& cells, Workroom& room)
        : frame_(frame), cells_(cells), room_(room) {
        // Positions count from the panorama pixel in the middle of the block.
        const double x = 0.5 * kStep * (cells.x0 + cells.x1);
        const double y = 0.5 * kStep * (cells.y0 + cells.y1);
        if (const auto middle = place(x, y))
            origin_ = {std::floor(middle->x()), std::floor(middle->y())};
    }

    void run() {
        const int count = (cells_.x1 - cells_.x0) * (cells_.y1 - cells_.y0);
        const auto reaches = placeCells(count);
        Reach all;
        for (const auto& reach : reaches)
            if (!reach.empty()) all.include(reach);
        if (all.empty()) return;
        const bool at_once = Region(all).pixels() <= kMostRegion;
        if (at_once) fetch(all);
        for (int k = 0; k < count; ++k) {
            if (reaches[size_t(k)].empty()) continue;
            if (!at_once) fetch(reaches[size_t(k)]);
            showCell(k);
        }
    }

private:
    [[nodiscard]] std::optional<Vector2d> place(double x, double y) const {
        const Vector2d frame_px(x + frame_.bounds.x0, y + frame_.bounds.y0);
        const auto direction = directionOf(frame_.camera, frame_.look, frame_px);
        if (!direction) return std::nullopt;
        return panoramaPixel(frame_.grid, frame_.onBorder(), *direction);
    }

    [[nodiscard]] bool offBand(const SamplePoint& p) const {
        const double y = double(p.y) + origin_.y();
        return !(y >= 0 && y <= frame_.grid.height);
    }

    [[nodiscard]] std::vector<Reach> placeCells(int count) {
        const auto exact = [this](double x, double y) -> std::optional<Vector2d> {
            auto place_px = place(x, y);
            if (place_px) *place_px -= origin_;
            return place_px;
        };
        PositionLattice::Settings settings{kStep, kTolerance_px, frame_.grid.width,
                                           frame_.grid.height};
        settings.corner_x = -origin_.x();
        settings.corner_y = -origin_.y();
        settings.period_x = frame_.period_x;
        PositionLattice lattice(
            exact, [](double, double) { return false; }, cells_, settings);
        room_.points.resize(size_t(count) * kCellPixels);
        std::vector<Reach> reaches(static_cast<size_t>(count));
        const int across = cells_.x1 - cells_.x0;
        for (int k = 0; k < count; ++k) {
            SamplePoint* points = &room_.points[size_t(k) * kCellPixels];
            if (!lattice.cell(cells_.x0 + k % across, cells_.y0 + k / across, points)) continue;
            for (int i = 0; i < kCellPixels; ++i) {
                SamplePoint& p = points[i];
                if (offBand(p)) continue;
                p.x -= float(frame_.period_x * std::round(double(p.x) / frame_.period_x));
                reaches[size_t(k)].include(p);
            }
        }
        return reaches;
    }

    void fetch(const Reach& reach) {
        const Region region(reach);
        const bool whole = frame_.grid.projection == Projection::equirectangular;
        frame_.panorama.read(region.x + int(origin_.x()), region.y + int(origin_.y()), region.width,
                             region.height, whole, room_.region);
        room_.bright = findBright(room_.region, double(std::max(reach.scale_x, reach.scale_y)));
        corner_x_ = region.x;
        corner_y_ = region.y;
    }

    void showCell(int k) {
        SamplePoint* points = &room_.points[size_t(k) * kCellPixels];
        for (int i = 0; i < kCellPixels; ++i) {
            SamplePoint& p = points[i];
            // A place that no region holds stays outside of this one.
            if (offBand(p)) p.x = p.y = -1e6f;
            p.x -= float(corner_x_);
            p.y -= float(corner_y_);
        }
        float* rgba = room_.rgba.data();
        resample(room_.region, room_.bright.get(), points, kCellPixels, rgba);
        const int across = cells_.x1 - cells_.x0;
        const int x0 = (cells_.x0 + k % across) * kStep, y0 = (cells_.y0 + k / across) * kStep;
        if (frame_.look == Look::lens) shade(x0, y0, rgba);
        const int width = std::min(kStep, frame_.picture.width - x0);
        const int height = std::min(kStep, frame_.picture.height - y0);
        for (int y = 0; y < height; ++y)
            std::copy_n(rgba + size_t(y) * kStep * 4, width * 4, frame_.picture.at(x0, y0 + y));
    }

    void shade(int x0, int y0, float* rgba) const {
        const auto& sensor = frame_.camera.lens.sensor();
        const auto& shading = frame_.camera.lens.lens().shading;
        if (shading.a1 == 0 && shading.a2 == 0 && shading.a3 == 0) return;
        for (int y = 0; y < kStep; ++y)
            for (int x = 0; x < kStep; ++x, rgba += 4) {
                const Vector2d px(x0 + x + 0.5 + frame_.bounds.x0, y0 + y + 0.5 + frame_.bounds.y0);
                const double r2 = mmFromPixel(sensor, px).squaredNorm();
                // Shading that has reached 0 lets no light through; it never turns negative.
                const float share = float(std::max(0.0, shading.transmission(r2)));
                for (int c = 0; c < 3; ++c) rgba[c] *= share;
            }
    }

    const Frame& frame_;
    CellRange cells_;
    Workroom& room_;
    Vector2d origin_ = Vector2d::Zero();
    int corner_x_ = 0, corner_y_ = 0;  // of the region, from the origin
};

// Panorama pixels across a frame pixel, at the most, over a few places of the frame.
double largestScale(const Frame& frame) {
    constexpr int kPlaces = 8;
    double scale = 1;
    for (int j = 0; j <= kPlaces; ++j)
        for (int i = 0; i <= kPlaces; ++i) {
            const Vector2d px(frame.bounds.x0 + frame.bounds.width() * double(i) / kPlaces,
                              frame.bounds.y0 + frame.bounds.height() * double(j) / kPlaces);
            const auto here = directionOf(frame.camera, frame.look, px);
            const auto beside = directionOf(frame.camera, frame.look, px + Vector2d(1, 0));
            if (!here || !beside) continue;
            scale = std::max(scale, (*here - *beside).norm() * frame.grid.pixelsPerRadian());
        }
    return scale;
}

}  // namespace

double coveredShare(const io::Picture& picture) {
    double sum = 0;
    for (size_t i = 3; i < picture.data.size(); i += 4) sum += picture.data[i] > 0;
    return sum / (double(picture.width) * picture.height);
}

View renderView(const io::PanoramaReader& panorama, const PanoramaGrid& grid,
                const ViewCamera& camera, Look look, const PixelBounds& bounds) {
    View view;
    view.picture = io::Picture(bounds.width(), bounds.height(), 4);
    Frame frame{panorama, grid, camera, look, bounds, double(grid.width), view.picture};
    if (frame.onBorder()) frame.period_x = grid.width - 1;
    const int block_px = std::clamp(int(kBlockReach / largestScale(frame)), kStep, kMostBlock);
    const int cells = block_px / kStep;
    const int across = (bounds.width() + kStep - 1) / kStep;
    const int down = (bounds.height() + kStep - 1) / kStep;
    const int blocks_across = (across + cells - 1) / cells;
    const int blocks = blocks_across * ((down + cells - 1) / cells);
    tbb::enumerable_thread_specific<Workroom> rooms;
    tbb::parallel_for(0, blocks, [&](int k) {
        const int x0 = k % blocks_across * cells, y0 = k / blocks_across * cells;
        const CellRange range{x0, y0, std::min(x0 + cells, across), std::min(y0 + cells, down)};
        Block(frame, range, rooms.local()).run();
    });
    view.covered = coveredShare(view.picture);
    return view;
}

}  // namespace plateloom::stitch
