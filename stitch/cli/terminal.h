// What a person sees: text and the progress bar on standard error, the machine's summary on
// standard out.
#pragma once

#include <chrono>
#include <nlohmann/json_fwd.hpp>
#include <string>

#include "stitch/solve/solve.h"

namespace plateloom::cli {

/// A bar on a terminal, nothing in a pipe. One line that is redrawn at most ten times a second and
/// wiped at the end.
class ProgressBar {
public:
    ProgressBar();
    ~ProgressBar();
    void show(const std::string& stage, double share);
    void wipe();
    [[nodiscard]] stitch::Progress callback() {
        return [this](const std::string& stage, double share) { show(stage, share); };
    }

private:
    bool terminal_, drawn_ = false;
    std::chrono::steady_clock::time_point last_{};
    std::string stage_;
};

/// Standard error; control characters are shown, not sent.
void say(const std::string& line);
void warn(const std::string& line);  ///< with "warning: "

/// The machine's summary on standard output. Text that is no UTF-8 is written as validUtf8
/// (io/shown_text.h) has it.
constexpr int kOneLine = -1;
void printJson(const nlohmann::json& value, int indent = 2);

/// Throws io::RoomError when something of standard output did not get out.
void flushStandardOutput();

/// Largest memory that this process held so far, bytes.
[[nodiscard]] double peakMemory();

/// "12.3 s", "3.4 GiB" and the like.
[[nodiscard]] std::string seconds(double value);
[[nodiscard]] std::string percent(double share);
/// "1 frame", "24 frames".
[[nodiscard]] std::string counted(size_t count, const std::string& noun);

}  // namespace plateloom::cli
