// Gains over a take: what brings each camera to the common exposure, changing smoothly with time so
// that nothing flickers, and told apart from light that changes in the world itself.
//
// What a lens sample or a header says of a frame's exposure (T-stop, shutter, sensitivity, ND) is
// taken out first, frame by frame: an iris pull is as quick as it was. What is left is measured in
// the overlaps of every frame and smoothed. Overlaps tell cameras against each other only; that the
// whole stands still is what most cameras say: if one of five moves against the others, it is that
// one.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

namespace plateloom::stitch {

/// A gain (linear, r g b) at a frame; between two it goes evenly in stops, beyond them it stays.
struct GainKey {
    int64_t frame = 0;
    std::array<double, 3> gain{1, 1, 1};
};

struct CameraLight {
    std::vector<GainKey> keys;          ///< beyond what is known; at least one
    std::optional<double> known_stops;  ///< to which the keys belong; nullopt: no exposure is known

    /// `stops` is the frame's own known exposure.
    [[nodiscard]] std::array<float, 3> gainAt(int64_t frame, std::optional<double> stops) const;
};

class TakeLight {
public:
    explicit TakeLight(int clips) : clips_(size_t(clips)) {}

    /// One frame: the gains that its overlaps give (balanceExposure) to the plates of these clips,
    /// and their known exposures. Black frames are to be left out.
    void add(int64_t frame, const std::vector<int>& clip,
             const std::vector<std::array<float, 3>>& gains,
             const std::vector<std::optional<double>>& stops);

    /// One a clip.
    [[nodiscard]] std::vector<CameraLight> finish() const;

private:
    struct Voice {
        int64_t frame = 0;
        std::array<double, 3> log_gain{};  // natural, to the mean of the frame's cameras
        std::optional<double> stops;
    };
    /// Of the clip's first frame; nothing where any frame of it has none.
    [[nodiscard]] std::optional<double> knownStops(size_t clip) const;

    size_t clips_;
    std::vector<int64_t> frames_;
    std::vector<std::vector<std::optional<Voice>>> voices_;  // by frame, by clip
};

}  // namespace plateloom::stitch
