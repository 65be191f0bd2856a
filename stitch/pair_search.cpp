#include "stitch/pair_search.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>

namespace plateloom::stitch {

namespace {

constexpr int kFeatures = 2000;

// Plates looked at together: each needs its pixels, its light and the detector's pictures at once.
int platesAtOnce(const Cameras& cameras) {
    constexpr double kBytesAPixel = 16 + 5, kDetectorBytes = 80e6, kBound = 700e6;
    double largest = 1;
    for (const auto& plate : cameras.plates)
        largest = std::max(largest, double(plate.sensor.width_px) * plate.sensor.height_px);
    const int wanted = int(kBound / (kBytesAPixel * largest + kDetectorBytes));
    return std::clamp(wanted, 1, tbb::this_task_arena::max_concurrency());
}

// Tells a share done from several threads, one at a time.
class SharedProgress {
public:
    SharedProgress(const StageClock& clock, size_t steps) : clock_(clock), steps_(steps) {}
    void step() {
        const std::lock_guard lock(mutex_);
        clock_.tell(double(++done_) / double(steps_));
    }

private:
    const StageClock& clock_;
    size_t steps_, done_ = 0;
    std::mutex mutex_;
};

}  // namespace

std::vector<PlateFeatures> featuresOfPlates(const Cameras& cameras, LightStore& lights,
                                            StageClock& clock) {
    std::vector<PlateFeatures> features(cameras.plates.size());
    SharedProgress progress(clock, features.size());
    tbb::task_arena arena(platesAtOnce(cameras));
    arena.execute([&] {
        tbb::parallel_for(size_t(0), features.size(), [&](size_t p) {
            // A thread that waits inside must not begin another plate: that would break the bound.
            tbb::this_task_arena::isolate(
                [&] { features[p] = detectFeatures(*lights.get(int(p)), kFeatures); });
            progress.step();
        });
    });
    for (const auto& plate : cameras.plates)
        clock.add(double(plate.sensor.width_px) * plate.sensor.height_px);
    return features;
}

double matchTolerance_px(const Cameras& cameras, int a, int b) {
    constexpr double kKnown = 2.0;           // detector pixels
    constexpr double kUnknownShare = 0.012;  // of the width
    const Plate &plate_a = cameras.plates[a], &plate_b = cameras.plates[b];
    const double pixel = std::max(detectorPixel(plate_a), detectorPixel(plate_b));
    if (lensIsKnown(plate_a) && lensIsKnown(plate_b)) return kKnown * pixel;
    return std::max(kKnown * pixel,
                    kUnknownShare * std::max(plate_a.sensor.width_px, plate_b.sensor.width_px));
}

std::vector<PairRotation> tryPairs(const Cameras& cameras,
                                   const std::vector<PlateFeatures>& features,
                                   const PlatePairs& pairs, double tolerance_share,
                                   StageClock& clock) {
    const auto lenses = lensMaps(cameras);
    std::vector<std::vector<PairRotation>> found(pairs.size());
    SharedProgress progress(clock, pairs.size());
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        const auto [a, b] = pairs[i];
        found[i] = pairRotations(a, b, features[a], features[b], lenses[a], lenses[b],
                                 tolerance_share * matchTolerance_px(cameras, a, b));
        progress.step();
    });
    std::vector<PairRotation> hypotheses;
    for (auto& of_pair : found)
        for (auto& hypothesis : of_pair) hypotheses.push_back(std::move(hypothesis));
    return hypotheses;
}

void searchFocalLengths(Cameras& cameras, const std::vector<PlateFeatures>& features,
                        const PlatePairs& pairs) {
    constexpr size_t kPairs = 10;
    constexpr double kAngles_deg[] = {20, 25, 31, 38, 46, 55, 65, 76, 88, 100, 110};
    for (int group = 0; group < int(cameras.correction.size()); ++group) {
        PlatePairs own;
        for (const auto& [a, b] : pairs) {
            const Plate &plate_a = cameras.plates[a], &plate_b = cameras.plates[b];
            if (plate_a.lens_group == group && plate_b.lens_group == group &&
                focalIsUnknown(plate_a) && own.size() < kPairs)
                own.emplace_back(a, b);
        }
        if (own.empty()) continue;
        const auto& sensor = cameras.plates[own.front().first].sensor;
        double best_focal_mm = 0;
        int best = 0;
        for (const double angle_deg : kAngles_deg) {
            const double focal_mm = 0.5 * sensor.width_mm / std::tan(0.5 * angle_deg / 57.2957795);
            for (auto& plate : cameras.plates)
                if (plate.lens_group == group) plate.lens.focal_mm = focal_mm;
            const auto lenses = lensMaps(cameras);
            std::atomic<int> inliers = 0;
            tbb::parallel_for(size_t(0), own.size(), [&](size_t i) {
                const auto [a, b] = own[i];
                const auto rotations =
                    pairRotations(a, b, features[a], features[b], lenses[a], lenses[b],
                                  0.5 * matchTolerance_px(cameras, a, b));
                if (!rotations.empty()) inliers += rotations.front().inliers;
            });
            if (inliers > best) {
                best = inliers;
                best_focal_mm = focal_mm;
            }
        }
        if (best_focal_mm <= 0)
            best_focal_mm = startingCameras({cameras.plates[own[0].first]}).plates[0].lens.focal_mm;
        for (auto& plate : cameras.plates)
            if (plate.lens_group == group) plate.lens.focal_mm = best_focal_mm;
    }
}

}  // namespace plateloom::stitch
