#include "stitch/cli/help_formatter.h"

#include <sstream>

namespace plateloom::cli {

namespace {

constexpr size_t kLine = 100, kColumn = 28;

// Words from column `indent` on, broken between words before the line's end.
std::string wrapped(const std::string& text, size_t indent) {
    std::istringstream words(text);
    std::string out, word;
    for (size_t column = indent; words >> word; column += word.size()) {
        if (!out.empty() && column + 1 + word.size() > kLine) {
            out += "\n" + std::string(indent, ' ');
            column = indent;
        } else if (!out.empty()) {
            out += ' ';
            ++column;
        }
        out += word;
    }
    return out;
}

std::string entry(const std::string& left, const std::string& right) {
    std::string out = "  " + left;
    if (right.empty()) return out + "\n";
    if (out.size() + 2 > kColumn)
        out += "\n" + std::string(kColumn, ' ');
    else
        out.resize(kColumn, ' ');
    return out + wrapped(right, kColumn) + "\n";
}

}  // namespace

std::string namesOf(const CLI::Option& option) {
    if (option.get_positional())
        return valueOf(option) + (option.get_items_expected_max() > 1 ? "..." : "");
    std::string names;
    for (const auto& name : option.get_snames()) names += "-" + name + ", ";
    for (const auto& name : option.get_lnames()) names += "--" + name + ", ";
    return names.substr(0, names.size() - 2);
}

std::string valueOf(const CLI::Option& option) {
    return option.get_type_size() == 0 ? std::string() : option.get_type_name();
}

std::string helpOf(const CLI::Option& option) {
    std::string help = option.get_description();
    if (option.get_required() && !option.get_positional()) return help + " (required)";
    if (option.get_type_size() != 0 && !option.get_default_str().empty())
        help += " (default: " + option.get_default_str() + ")";
    return help;
}

// CLI11 leaves two empty lines between groups.
std::string HelpFormatter::make_help(const CLI::App* app, std::string name,
                                     CLI::AppFormatMode mode) const {
    std::string help = Formatter::make_help(app, std::move(name), mode);
    for (size_t at; (at = help.find("\n\n\n")) != std::string::npos;) help.erase(at, 1);
    if (help.ends_with("\n\n")) help.pop_back();
    return help;
}

std::string HelpFormatter::make_usage(const CLI::App* app, std::string name) const {
    std::string line = "Usage: " + name;
    const bool has_commands = !app->get_subcommands([](const CLI::App*) { return true; }).empty();
    if (has_commands) return line + " COMMAND [OPTIONS]\n";
    for (const CLI::Option* option :
         app->get_options([](const CLI::Option* o) { return o->get_positional(); }))
        line += " " + namesOf(*option);
    return line + " [OPTIONS]\n";
}

std::string HelpFormatter::make_description(const CLI::App* app) const {
    return wrapped(app->get_description(), 0) + "\n\n";
}

std::string HelpFormatter::make_positionals(const CLI::App* app) const {
    std::string out;
    for (const CLI::Option* option :
         app->get_options([](const CLI::Option* o) { return o->get_positional(); }))
        out += "\n" + make_option(option, true);
    return out;
}

std::string HelpFormatter::make_option(const CLI::Option* option, bool is_positional) const {
    const std::string value = is_positional ? std::string() : valueOf(*option);
    return entry(namesOf(*option) + (value.empty() ? "" : " " + value), helpOf(*option));
}

std::string HelpFormatter::make_subcommand(const CLI::App* command) const {
    return entry(command->get_display_name(true), command->get_description());
}

std::string HelpFormatter::make_footer(const CLI::App* app) const {
    return app->get_footer().empty() ? std::string() : wrapped(app->get_footer(), 0) + "\n";
}

}  // namespace plateloom::cli
