// What is said of clips on the command line.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "stitch/cli/options.h"
#include "stitch/take/chunk.h"
#include "stitch/take/solve_take.h"

namespace plateloom::cli {

struct TakeOptions {
    std::string clips;  ///< "array", "in-turn", or "" for stills
    std::vector<std::string> offsets;

    void addTo(CLI::App& command);
    [[nodiscard]] bool moving() const { return !clips.empty(); }
    /// Throws io::InputError for an offset that does not parse.
    [[nodiscard]] stitch::TakeArguments arguments(const PlateOptions& plates) const;
};

void addChunk(CLI::App& command, std::string& chunk);
/// "2/4", which addChunk has checked.
[[nodiscard]] stitch::Chunk parseChunk(const std::string& text);

/// What of the mount's motion is taken out.
struct SteadyOptions {
    std::string steady;
    bool split_knocked = false;

    void addTo(CLI::App& command);
    [[nodiscard]] stitch::TakeSolveSettings settings(const SolveOptions& solve) const;
};

}  // namespace plateloom::cli
