// Times the stages of a job and tells the progress of each.
#pragma once

#include <chrono>
#include <string>
#include <utility>
#include <vector>

#include "stitch/job/progress.h"

namespace plateloom::stitch {

class StageClock {
public:
    explicit StageClock(Progress progress) : progress_(std::move(progress)) {}

    /// Ends the stage before and begins one; stages of one name add up.
    void begin(const std::string& stage) {
        end();
        stage_ = stage;
        started_ = Clock::now();
        tell(0);
    }
    /// `pixels` that the stage has looked at are added to it.
    void add(double pixels) { add(stage_, pixels); }
    void add(const std::string& stage, double pixels) { slot(stage).pixels += pixels; }
    void tell(double share) const {
        if (progress_) progress_(stage_, share);
    }
    void end() {
        if (stage_.empty()) return;
        slot(stage_).seconds += std::chrono::duration<double>(Clock::now() - started_).count();
        tell(1);
        stage_.clear();
    }
    [[nodiscard]] const std::vector<StageTime>& times() const { return times_; }

private:
    using Clock = std::chrono::steady_clock;
    StageTime& slot(const std::string& stage) {
        for (auto& time : times_)
            if (time.stage == stage) return time;
        times_.push_back({stage, 0, 0});
        return times_.back();
    }

    Progress progress_;
    std::string stage_;
    Clock::time_point started_;
    std::vector<StageTime> times_;
};

}  // namespace plateloom::stitch
