// The check on location over clips: each clip's frames (missing, damaged, black, frozen, a timecode
// that slips, no lens sample), and the check of plates at the first, the middle and the last moment
// of the take. What is found at all three is told once, the rest with its frame.
#pragma once

#include <memory>
#include <vector>

#include "stitch/check/check_job.h"
#include "stitch/clips/take.h"

namespace plateloom::stitch {

class TakeCheck {
public:
    /// `request.plates` are the take's clips and papers. Throws io::InputError as gatherTake does,
    /// but for gaps in lens tracks, which are findings.
    TakeCheck(const CheckRequest& request, TakeArguments take);
    ~TakeCheck();

    /// The survey is that of the middle moment, with the findings of all.
    [[nodiscard]] Survey look(const Progress& progress);

    [[nodiscard]] const Take& take() const { return take_; }
    /// Of the last look: the middle moment's check, for pictures.
    [[nodiscard]] Check& middle();

private:
    struct Seen;
    void studyClips(std::vector<Finding>& findings, std::vector<std::string>& warnings);
    [[nodiscard]] int64_t wholeFrameBy(int64_t frame) const;

    CheckRequest request_;
    Take take_;
    std::vector<std::vector<int64_t>> unfit_;  // one a clip: frames of the take, black or damaged
    std::vector<Seen> seen_;
};

}  // namespace plateloom::stitch
