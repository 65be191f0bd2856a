// A take: clips of one place tied in time. `array`: several cameras rolled together on one mount;
// `in_turn`: one camera, a clip for each direction, one after the other.
//
// A frame of the take is named by the number that the first clip's file has; every other clip's
// number follows from it by a constant.
//
//     const Take take = gatherTake(arguments);
//     for (int64_t frame = take.first; frame <= take.last; ++frame) use(take.at(frame));
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/clip.h"
#include "stitch/clips/clip_times.h"
#include "stitch/plates/lens_data.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

struct TakeArguments {
    /// `plates`, `lens_tracks`, `report`, `frames` (of the take), `colour_space`, `focal_mm`,
    /// `sensor_width_mm` mean what they mean for stills. A line of the report is a clip's.
    PlateArguments plates;
    Rolled rolled = Rolled::array;
    Sync sync = Sync::automatic;
    /// --offset CLIP=FRAMES: frames by which this clip is moved later against what timecode or
    /// first frame say. A name that is no clip's is refused.
    std::map<std::string, int64_t> offsets;
    /// A gap in a lens track is noted in the clip and leaves it out of the moments that need it,
    /// rather than being refused: for whoever looks at a shoot that is not whole yet.
    bool tolerates_gaps = false;
};

struct TakeClip {
    io::Clip clip;
    int64_t ahead = 0;   ///< the clip's frame number less the take's
    int lens_group = 0;  ///< of its plates, at every moment; of an array each clip has its own
    /// Of the common range: frames of the take that this clip's lens track leaves out.
    std::vector<int64_t> without_lens;
    std::string why_without_lens;  ///< the first of them
};

/// What one moment of the take shows: one plate a clip that has a frame then.
struct Moment {
    int64_t frame = 0;          ///< of the take
    std::vector<int> clip;      ///< one a plate: index into the take's clips
    std::vector<Plate> plates;  ///< each with the lens sample of its own frame
};

class Take {
public:
    Rolled rolled = Rolled::array;
    std::vector<TakeClip> clips;
    int64_t first = 0, last = 0;  ///< common range, frames of the take, both included
    std::optional<io::FrameRate> rate;
    std::optional<io::Timecode> start;  ///< of `first`
    std::vector<std::string> notes, warnings;

    [[nodiscard]] int64_t frames() const { return last - first + 1; }
    /// Does this clip have a file for the take's frame?
    [[nodiscard]] bool has(int clip, int64_t frame) const;
    [[nodiscard]] std::optional<io::Timecode> timecodeAt(int64_t frame) const;
    /// The clip's own, which is another's where they were shot in turn.
    [[nodiscard]] std::optional<io::Timecode> timecodeAt(int64_t frame, int clip) const;
    /// Where a clip's lens data come from, in words; "" for its files' own headers or nowhere.
    [[nodiscard]] std::string lensSourceOf(int clip) const;
    /// Reads the headers of that moment's frames and ties each to its lens sample: one header a
    /// clip, whatever its length. A clip without a frame there is left out. Throws io::InputError
    /// as gatherPlates does. Safe from several threads.
    [[nodiscard]] Moment at(int64_t frame) const;

private:
    friend Take gatherTake(const TakeArguments& arguments);
    struct Papers;
    [[nodiscard]] PlateSet describe(const std::vector<std::pair<int, int64_t>>& numbers) const;
    void findGaps(bool tolerates);
    void findGroups();

    std::shared_ptr<const Papers> papers_;  // tracks, table and report, as they were read
};

/// Throws io::InputError: clips of unlike rate, no common range (says each clip's), some clips with
/// timecode and some without (says which), an unknown name in `offsets`, and whatever findClips and
/// lens data refuse. Names in `warnings`: missing and doubled frames, unlike lengths.
[[nodiscard]] Take gatherTake(const TakeArguments& arguments);

}  // namespace plateloom::stitch
