// How the help is laid out, and the words of an option that the help, the manual pages and the
// shell completion share.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace plateloom::cli {

/// "-o, --output"; of a positional argument "PLATES...".
[[nodiscard]] std::string namesOf(const CLI::Option& option);
/// What stands for its value, "" for a flag: "DIR", "half|float".
[[nodiscard]] std::string valueOf(const CLI::Option& option);
/// Its description, then in parentheses the default, or that it is required.
[[nodiscard]] std::string helpOf(const CLI::Option& option);

/// Options in the groups that they were added to, lines no longer than a terminal is wide.
class HelpFormatter : public CLI::Formatter {
public:
    std::string make_help(const CLI::App* app, std::string name,
                          CLI::AppFormatMode mode) const override;
    std::string make_usage(const CLI::App* app, std::string name) const override;
    std::string make_description(const CLI::App* app) const override;
    std::string make_positionals(const CLI::App* app) const override;
    std::string make_option(const CLI::Option* option, bool is_positional) const override;
    std::string make_subcommand(const CLI::App* command) const override;
    std::string make_footer(const CLI::App* app) const override;
};

}  // namespace plateloom::cli
