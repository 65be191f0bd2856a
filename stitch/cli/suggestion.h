// What was probably meant by a command or an option that the program does not know.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace plateloom::cli {

/// Edits that turn one word into the other: a letter added, dropped, replaced, or swapped with the
/// next one (optimal string alignment distance).
[[nodiscard]] int editDistance(const std::string& a, const std::string& b);

/// The word of `known` that is nearest to `typed`, in any case: at most one edit for every three
/// letters, else the only word that begins so. "" where none is near.
[[nodiscard]] std::string nearestWord(const std::string& typed,
                                      const std::vector<std::string>& known);

/// "stich is no command; did you mean stitch?" for the first unknown command or option among the
/// arguments (without the program's own name); "" where all are known or none is near.
[[nodiscard]] std::string suggestionFor(const CLI::App& program,
                                        const std::vector<std::string>& arguments);

}  // namespace plateloom::cli
