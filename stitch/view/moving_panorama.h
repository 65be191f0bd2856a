// The panorama behind a shot, as a still or moving: numbered files (`pano.####.exr`), one a frame
// of the take that they were made of. Each frame of the shot has the panorama of its own moment.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/clip.h"
#include "io/panorama_reader.h"
#include "io/shot_camera.h"
#include "stitch/view/view.h"

namespace plateloom::stitch {

class MovingPanorama {
public:
    /// A name without # is a still. `slip`: frames by which the panorama is moved on against the
    /// shot. Throws io::InputError for what does not exist or can't be read, and for a slip of a
    /// still.
    MovingPanorama(const std::filesystem::path& name, PanoramaClaim claim,
                   const std::string& colour_space, size_t cache_bytes, int64_t slip);

    [[nodiscard]] bool moves() const { return clip_.has_value(); }
    /// The files' numbers; none of a still.
    [[nodiscard]] std::vector<int64_t> numbers() const;
    /// Its frames as frames of a shot, without camera: for whoever looks at all of them.
    [[nodiscard]] std::vector<io::ShotFrame> frames() const;

    /// Ties the shot's frames to panorama frames: by timecode where all of both have it (across
    /// midnight, label by label; at another rate the one that shows then), else by number. One a
    /// frame; without a number where the panorama has none then, and why. Throws io::InputError
    /// where it has none for any of them.
    struct Choice {
        std::optional<int64_t> number;  ///< of a still: 0
        std::string why;
    };
    [[nodiscard]] std::vector<Choice> choicesFor(const std::vector<io::ShotFrame>& shot);

    [[nodiscard]] std::filesystem::path pathOf(int64_t number) const;
    /// Opens one, unless it is the one opened last. Throws io::InputError for a frame that can't be
    /// read, or is another kind of panorama than the first.
    [[nodiscard]] const io::PanoramaReader& open(int64_t number);
    /// Of all frames alike; after open().
    [[nodiscard]] const PanoramaGrid& grid() const { return *grid_; }
    /// Of the frame that was opened last.
    [[nodiscard]] const io::PanoramaFile& file() const { return reader_->file(); }

    [[nodiscard]] const std::vector<std::string>& notes() const { return notes_; }
    [[nodiscard]] const std::vector<std::string>& warnings() const { return warnings_; }

private:
    [[nodiscard]] bool tiesByTimecode(const std::vector<io::ShotFrame>& shot) const;
    [[nodiscard]] int64_t numberAt(const io::ShotFrame& frame, bool by_timecode) const;
    void tellRates(const io::ShotFrame& frame);

    std::filesystem::path name_;
    PanoramaClaim claim_;
    std::string colour_space_;
    size_t cache_bytes_;
    int64_t slip_;
    std::optional<io::Clip> clip_;
    std::unique_ptr<io::PanoramaReader> reader_;
    int64_t opened_ = 0;
    std::optional<PanoramaGrid> grid_;
    std::vector<std::string> notes_, warnings_;
};

}  // namespace plateloom::stitch
