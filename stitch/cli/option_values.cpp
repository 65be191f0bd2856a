#include "stitch/cli/option_values.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdio>

#include "io/input_error.h"
#include "io/measured_column.h"

namespace plateloom::cli {

namespace {

std::string inMetres(const std::string& text) {
    const auto metres = io::metresFrom(text);
    if (!metres) return text;
    std::array<char, 40> digits{};
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), *metres).ptr;
    return {digits.data(), end};
}

}  // namespace

CLI::Validator positiveNumber() {
    return {[](const std::string& text) {
                double value = 0;
                const char* end = text.data() + text.size();
                const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
                const auto read = std::from_chars(begin, end, value);
                return read.ec == std::errc() && read.ptr == end && std::isfinite(value) &&
                               value > 0
                           ? std::string()
                           : "expected a number above 0";
            },
            "", "positive"};
}

CLI::Validator wholeNumber(int64_t low, int64_t high) {
    CLI::Validator range = CLI::Range(low, high);
    return range.description("");
}

CLI::Option* oneOf(CLI::Option* option, const std::vector<std::string>& words) {
    std::string names;
    for (const auto& word : words) names += (names.empty() ? "" : "|") + word;
    CLI::Validator member = CLI::IsMember(words);
    return option->check(member.description(""))->type_name(names);
}

CLI::Validator asMetres() {
    return {[](std::string& text) {
                text = inMetres(text);
                return std::string();
            },
            "", "metres"};
}

CLI::Validator seamAsMetres() {
    return {[](std::string& text) {
                const size_t equals = text.rfind('=');
                const size_t at = equals == std::string::npos ? 0 : equals + 1;
                if (!io::saysInfinity(text.substr(at)))
                    text = text.substr(0, at) + inMetres(text.substr(at));
                return std::string();
            },
            "", "metres"};
}

SensorSize parseSensor(const std::string& text) {
    SensorSize size;
    char rest = 0;
    const int fields =
        std::sscanf(text.c_str(), "%lfx%lf%c", &size.width_mm, &size.height_mm, &rest);
    const auto is_length = [](double mm) { return mm > 0 && std::isfinite(mm); };
    if ((fields != 1 && fields != 2) || !is_length(size.width_mm) ||
        (fields == 2 && !is_length(size.height_mm)))
        throw io::OptionError("--sensor " + text, "expected the active area in mm, e.g. 36x20.25");
    return size;
}

stitch::FrameSize parseSize(const std::string& text) {
    stitch::FrameSize size;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%dx%d%c", &size.width, &size.height, &rest) != 2)
        throw io::OptionError("--size " + text,
                              "expected width and height in pixels, e.g. 4096x2160");
    return size;
}

std::optional<double> parseOverscan(const std::string& text) {
    if (text.empty() || text == "auto") return std::nullopt;
    double factor = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf%c", &factor, &rest) != 1 || !(factor >= 1 && factor <= 5))
        throw io::OptionError("--overscan " + text, "expected auto, or a factor from 1 to 5");
    return factor;
}

calib::PanTiltRoll parsePose(const std::string& text) {
    calib::PanTiltRoll pose;
    char rest = 0;
    const int fields = std::sscanf(text.c_str(), "%lf,%lf,%lf%c", &pose.pan_deg, &pose.tilt_deg,
                                   &pose.roll_deg, &rest);
    const bool commas = std::count(text.begin(), text.end(), ',') == fields - 1;
    const bool finite =
        std::isfinite(pose.pan_deg) && std::isfinite(pose.tilt_deg) && std::isfinite(pose.roll_deg);
    if ((fields != 2 && fields != 3) || !commas || !finite)
        throw io::OptionError("--pose " + text,
                              "expected PAN,TILT or PAN,TILT,ROLL in degrees, e.g. 20,-5");
    return pose;
}

std::pair<double, double> parsePans(const std::string& text) {
    double from = 0, to = 0;
    char rest = 0;
    const bool read = std::sscanf(text.c_str(), "%lf:%lf%c", &from, &to, &rest) == 2;
    if (read && to < from) to += 360;
    if (!read || !(from < to) || to - from > 360 || std::abs(from) > 360)
        throw io::OptionError("--pan " + text,
                              "expected FROM:TO in degrees, e.g. -90:90, or 150:-150 through 180");
    return {from, to};
}

std::pair<double, double> parseTilts(const std::string& text) {
    double low = 0, high = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf:%lf%c", &low, &high, &rest) != 2 || !(low < high) ||
        !std::isfinite(low) || !std::isfinite(high))
        throw io::OptionError("--tilt " + text, "expected LOW:HIGH in degrees, e.g. -40:40");
    return {low, high};
}

std::optional<stitch::Chunk> parseChunk(const std::string& text) {
    stitch::Chunk chunk;
    char rest = 0;
    long long number = 0, of = 0;
    if (std::sscanf(text.c_str(), "%lld/%lld%c", &number, &of, &rest) != 2) return std::nullopt;
    constexpr long long kMost = 1'000'000;
    if (number < 1 || of < number || of > kMost) return std::nullopt;
    return stitch::Chunk{number, of};
}

}  // namespace plateloom::cli
