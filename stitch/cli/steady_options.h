// What is said on the command line of the mount that clips were shot from.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "stitch/cli/options.h"
#include "stitch/moving/solve_take.h"

namespace plateloom::cli {

/// What of the mount's motion is taken out.
struct SteadyOptions {
    std::string steady;
    bool split_knocked = false;

    void addTo(CLI::App& command);
    /// Throws CLI::ValidationError for what has no meaning for clips shot as `take` says.
    [[nodiscard]] stitch::TakeSolveSettings settings(const SolveOptions& solve,
                                                     const TakeOptions& take) const;
};

}  // namespace plateloom::cli
