// What a job tells while it runs, and how long its stages took.
#pragma once

#include <functional>
#include <string>

namespace plateloom::stitch {

/// Called with a stage's name and the share done (0 to 1); may throw to cancel.
using Progress = std::function<void(const std::string& stage, double share)>;

struct StageTime {
    std::string stage;
    double seconds = 0, pixels = 0;
};

}  // namespace plateloom::stitch
