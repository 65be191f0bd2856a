#include "stitch/cli/steady_options.h"

namespace plateloom::cli {

void SteadyOptions::addTo(CLI::App& command) {
    oneOf(command.add_option("--steady", steady,
                             "Remove the shake that all cameras of a mount share: all of it (lock) "
                             "or what is left beside a smooth path (follow); of takes shot in "
                             "turn, lock removes each take's own"),
          {"lock", "follow"})
        ->group(kClips);
    command
        .add_flag("--split-knocked", split_knocked,
                  "Solve a camera that was knocked during the take in two parts")
        ->group(kClips);
}

stitch::TakeSolveSettings SteadyOptions::settings(const SolveOptions& solve,
                                                  const TakeOptions& take) const {
    if (steady == "follow" && take.clips == "in-turn")
        throw CLI::ValidationError(
            "--steady follow",
            "takes shot in turn share no path to follow; --steady lock takes "
            "each one's own shake out");
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
