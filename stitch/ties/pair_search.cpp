#include "stitch/ties/pair_search.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <iterator>
#include <mutex>

#include "calib/angle.h"

namespace plateloom::stitch {

bool SolveMemory::Look::near(const Look& other) const {
    constexpr double kSame = 0.01;
    const auto close = [](double a, double b) { return std::abs(a - b) <= kSame * std::abs(b); };
    return close(tolerance_px, other.tolerance_px) && close(focal_a_mm, other.focal_a_mm) &&
           close(focal_b_mm, other.focal_b_mm);
}

namespace {

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

std::vector<PlateFeatures> featuresOfPlates(const Cameras& cameras, LightStore& lights, int wanted,
                                            SolveMemory* memory, StageClock& clock) {
    std::vector<PlateFeatures> features(cameras.plates.size());
    const size_t known = memory ? std::min(memory->features.size(), features.size()) : 0;
    for (size_t p = 0; p < known; ++p) features[p] = memory->features[p];
    SharedProgress progress(clock, features.size() - known);
    tbb::task_arena arena(platesAtOnce(cameras));
    arena.execute([&] {
        tbb::parallel_for(known, features.size(), [&](size_t p) {
            // A thread that waits inside must not begin another plate: that would break the bound.
            tbb::this_task_arena::isolate(
                [&] { features[p] = detectFeatures(*lights.get(int(p)), wanted); });
            progress.step();
        });
    });
    for (size_t p = known; p < features.size(); ++p)
        clock.add(double(cameras.plates[p].sensor.width_px) * cameras.plates[p].sensor.height_px);
    if (memory) memory->features = features;
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
                                   SolveMemory* memory, StageClock& clock) {
    const auto lenses = lensMaps(cameras);
    std::vector<std::vector<PairRotation>> found(pairs.size());
    const auto lookAt = [&](int a, int b) {
        return SolveMemory::Look{tolerance_share * matchTolerance_px(cameras, a, b),
                                 lenses[size_t(a)].lens().focal_mm,
                                 lenses[size_t(b)].lens().focal_mm};
    };
    SharedProgress progress(clock, pairs.size());
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        const auto [a, b] = pairs[i];
        const auto look = lookAt(a, b);
        const auto known = memory ? memory->tried.find(pairs[i]) : decltype(memory->tried.end()){};
        if (memory && known != memory->tried.end() && known->second.look.near(look))
            found[i] = known->second.rotations;
        else
            found[i] = pairRotations({a, features[a], lenses[a]}, {b, features[b], lenses[b]},
                                     look.tolerance_px);
        progress.step();
    });
    if (memory)
        for (size_t i = 0; i < pairs.size(); ++i)
            memory->tried[pairs[i]] = {lookAt(pairs[i].first, pairs[i].second), found[i]};
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
        const auto mmOf = [&](double angle_deg) {
            return 0.5 * sensor.width_mm / std::tan(0.5 * angle_deg * calib::kRadPerDeg);
        };
        std::array<std::atomic<int>, std::size(kAngles_deg)> inliers{};
        tbb::parallel_for(size_t(0), own.size(), [&](size_t i) {
            const auto [a, b] = own[i];
            const auto matches = putativeMatches(features[a], features[b]);
            for (size_t k = 0; k < inliers.size(); ++k) {
                calib::Lens lens_a = cameras.lens(a), lens_b = cameras.lens(b);
                lens_a.focal_mm = lens_b.focal_mm = mmOf(kAngles_deg[k]);
                const calib::LensMap map_a(lens_a, cameras.plates[a].sensor);
                const calib::LensMap map_b(lens_b, cameras.plates[b].sensor);
                const auto rotations =
                    pairRotations({a, features[a], map_a}, {b, features[b], map_b}, matches,
                                  0.5 * matchTolerance_px(cameras, a, b));
                if (!rotations.empty()) inliers[k] += rotations.front().inliers;
            }
        });
        const auto best = std::max_element(inliers.begin(), inliers.end());
        double best_focal_mm = *best > 0 ? mmOf(kAngles_deg[best - inliers.begin()]) : 0;
        if (best_focal_mm <= 0)
            best_focal_mm = startingCameras({cameras.plates[own[0].first]}).plates[0].lens.focal_mm;
        for (auto& plate : cameras.plates)
            if (plate.lens_group == group) plate.lens.focal_mm = best_focal_mm;
    }
}

}  // namespace plateloom::stitch
