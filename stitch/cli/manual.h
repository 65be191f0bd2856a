// Manual pages and shell completion, from the options that the program itself parses.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace plateloom::cli {

/// "plateloom", "plateloom-calibrate-chart": what a command's page and its file are called.
[[nodiscard]] std::string manualName(const CLI::App& command);

/// A page in the man macros (groff_man(7)): name, synopsis, description, options by group, exit
/// statuses, and the pages of the commands below it.
[[nodiscard]] std::string manualPage(const CLI::App& command);

/// A script for bash-completion: commands, options, words that an option takes, else file names.
[[nodiscard]] std::string bashCompletion(const CLI::App& program);

}  // namespace plateloom::cli
