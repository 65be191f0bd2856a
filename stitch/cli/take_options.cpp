#include "stitch/cli/take_options.h"

#include <charconv>

#include "io/input_error.h"

namespace plateloom::cli {

namespace {

std::optional<int64_t> wholeNumber(std::string_view text) {
    if (text.starts_with('+')) text.remove_prefix(1);
    int64_t value = 0;
    const auto end = text.data() + text.size();
    const auto read = std::from_chars(text.data(), end, value);
    if (read.ec != std::errc() || read.ptr != end) return std::nullopt;
    return value;
}

std::optional<stitch::Chunk> chunkOf(const std::string& text) {
    const size_t slash = text.find('/');
    if (slash == std::string::npos) return std::nullopt;
    const auto number = wholeNumber(std::string_view(text).substr(0, slash));
    const auto of = wholeNumber(std::string_view(text).substr(slash + 1));
    if (!number || !of || *number < 1 || *of < *number) return std::nullopt;
    return stitch::Chunk{*number, *of};
}

}  // namespace

void TakeOptions::addTo(CLI::App& command) {
    command
        .add_option("--clips", clips,
                    "PLATES are clips: array (cameras rolling together on one mount) or in-turn "
                    "(one camera, a take for each direction)")
        ->check(CLI::IsMember({"array", "in-turn"}));
    command
        .add_option("--offset", offsets,
                    "Frames by which a clip comes later than its timecode says")
        ->type_name("CLIP=FRAMES");
}

stitch::TakeArguments TakeOptions::arguments(const PlateOptions& plates) const {
    stitch::TakeArguments arguments;
    arguments.plates = plates.arguments();
    arguments.rolled = clips == "in-turn" ? stitch::Rolled::in_turn : stitch::Rolled::array;
    for (const auto& text : offsets) {
        const size_t equals = text.rfind('=');
        const auto frames =
            equals == std::string::npos ? std::nullopt : wholeNumber(text.substr(equals + 1));
        if (!frames || equals == 0)
            throw io::InputError("--offset " + text, "write it as CLIP=FRAMES, e.g. cam2=-3");
        arguments.offsets[text.substr(0, equals)] = *frames;
    }
    return arguments;
}

void addChunk(CLI::App& command, std::string& chunk) {
    command.add_option("--chunk", chunk, "Make the K-th of N equal runs of frames only")
        ->type_name("K/N")
        ->check([](const std::string& text) {
            return chunkOf(text) ? std::string() : "write it as K/N, K from 1 to N: " + text;
        });
}

stitch::Chunk parseChunk(const std::string& text) {
    return chunkOf(text).value_or(stitch::Chunk{});
}

void SteadyOptions::addTo(CLI::App& command) {
    command
        .add_option("--steady", steady,
                    "Take out the shake that all cameras of a mount share: lock (as if it stood "
                    "still) or follow (a smooth path)")
        ->check(CLI::IsMember({"lock", "follow"}));
    command.add_flag("--split-knocked", split_knocked,
                     "Solve a camera that was knocked during the take in two parts");
}

stitch::TakeSolveSettings SteadyOptions::settings(const SolveOptions& solve) const {
    stitch::TakeSolveSettings settings;
    settings.solve = solve.settings();
    settings.north = solve.north;
    settings.steady = steady == "lock"     ? stitch::Steady::lock
                      : steady == "follow" ? stitch::Steady::follow
                                           : stitch::Steady::none;
    settings.split_knocked = split_knocked;
    return settings;
}

}  // namespace plateloom::cli
