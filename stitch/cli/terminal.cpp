#include "stitch/cli/terminal.h"

#include <sys/ioctl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <iostream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <system_error>

#include "io/input_error.h"
#include "io/shown_text.h"

namespace plateloom::cli {

namespace {

std::mutex drawing;  // progress may come from any thread

nlohmann::json inUtf8(const nlohmann::json& value) {
    if (value.is_string()) return io::validUtf8(value.get_ref<const std::string&>());
    nlohmann::json out = value;
    if (value.is_array())
        for (auto& element : out) element = inUtf8(element);
    if (!value.is_object()) return out;
    out = nlohmann::json::object();
    for (const auto& [key, element] : value.items()) out[io::validUtf8(key)] = inUtf8(element);
    return out;
}

}  // namespace

ProgressBar::ProgressBar() : terminal_(isatty(STDERR_FILENO) != 0) {}
ProgressBar::~ProgressBar() {
    wipe();
}

void ProgressBar::show(const std::string& stage, double share) {
    if (!terminal_) return;
    const std::lock_guard lock(drawing);
    const auto now = std::chrono::steady_clock::now();
    if (stage == stage_ && share < 1 && now - last_ < std::chrono::milliseconds(100)) return;
    last_ = now;
    stage_ = stage;
    winsize size{};
    const int columns =
        ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : 80;
    const int room = std::clamp(columns - 24, 4, 40);
    const int filled = int(std::clamp(share, 0.0, 1.0) * room);
    std::string bar;
    for (int i = 0; i < room; ++i) bar += i < filled ? "━" : "·";
    std::fprintf(stderr, "\r%-12s %s %3d %%\x1b[K", stage.c_str(), bar.c_str(), int(share * 100));
    std::fflush(stderr);
    drawn_ = true;
}

void ProgressBar::wipe() {
    const std::lock_guard lock(drawing);
    if (!drawn_) return;
    std::fputs("\r\x1b[K", stderr);
    std::fflush(stderr);
    drawn_ = false;
}

void say(const std::string& line) {
    std::fprintf(stderr, "%s\n", io::forTerminal(line).c_str());
}
void warn(const std::string& line) {
    say("warning: " + line);
}

void printJson(const nlohmann::json& value, int indent) {
    std::string text;
    try {
        text = value.dump(indent);
    } catch (const nlohmann::json::type_error&) {
        text = inUtf8(value).dump(indent);
    }
    std::printf("%s\n", text.c_str());
    flushStandardOutput();
}

void flushStandardOutput() {
    std::cout.flush();
    if (std::fflush(stdout) == 0 && !std::ferror(stdout) && std::cout) return;
    const int error = errno;
    std::clearerr(stdout);
    std::cout.clear();
    throw io::RoomError("standard output", "can't be written (" +
                                               std::generic_category().message(error) +
                                               "); files that were made are whole");
}

double peakMemory() {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return double(usage.ru_maxrss) * 1024;
}

std::string seconds(double value) {
    char text[32];
    std::snprintf(text, sizeof text, value < 10 ? "%.2f s" : "%.1f s", value);
    return text;
}

std::string counted(size_t count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string percent(double share) {
    char text[32];
    std::snprintf(text, sizeof text, "%.1f %%", 100 * share);
    return text;
}

}  // namespace plateloom::cli
