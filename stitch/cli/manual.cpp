#include "stitch/cli/manual.h"

#include <vector>

#include "stitch/cli/help_formatter.h"

namespace plateloom::cli {

namespace {

std::vector<const CLI::App*> commandsOf(const CLI::App& app) {
    return app.get_subcommands(
        [](const CLI::App* command) { return !command->get_name().empty(); });
}

std::vector<const CLI::Option*> optionsOf(const CLI::App& app) {
    return app.get_options([](const CLI::Option*) { return true; });
}

// A hyphen that people type, and no line that begins with a request.
std::string escaped(const std::string& text) {
    std::string out;
    for (const char c : text)
        if (c == '\\')
            out += "\\e";
        else if (c == '-')
            out += "\\-";
        else
            out += c;
    if (!out.empty() && (out[0] == '.' || out[0] == '\'')) out.insert(0, "\\&");
    return out;
}

std::string optionEntry(const CLI::Option& option) {
    const bool positional = option.get_positional();
    const std::string value = positional ? std::string() : valueOf(option);
    return ".TP\n\\fB" + escaped(namesOf(option)) + "\\fR" +
           (value.empty() ? "" : " \\fI" + escaped(value) + "\\fR") + "\n" +
           escaped(helpOf(option)) + "\n";
}

constexpr const char* kStatuses =
    ".SH EXIT STATUS\n"
    ".TP\n0\nDone.\n"
    ".TP\n1\nThe job ran and found something that a person must see: a gap, a plate that could not "
    "be placed.\n"
    ".TP\n2\nThe command line is wrong, or an output would replace something.\n"
    ".TP\n3\nAn input can't be read or contradicts another.\n"
    ".TP\n4\nThe machine ran out of disk space or memory.\n";

std::string words(const std::vector<const CLI::App*>& commands) {
    std::string out;
    for (const CLI::App* command : commands) out += (out.empty() ? "" : " ") + command->get_name();
    return out;
}

// "--a --b" of a command and of all above it.
std::string optionWords(const CLI::App& command) {
    std::string out;
    for (const CLI::App* app = &command; app; app = app->get_parent())
        for (const CLI::Option* option : optionsOf(*app)) {
            if (app != &command && option == app->get_help_ptr()) continue;
            for (const auto& name : option->get_lnames()) out += " --" + name;
        }
    return out.substr(1);
}

// The branches for options that take one of a few words.
std::string choiceBranches(const CLI::App& command) {
    std::string out;
    for (const CLI::Option* option : optionsOf(command)) {
        std::string value = valueOf(*option);
        if (value.find('|') == std::string::npos || option->get_lnames().empty()) continue;
        for (char& c : value)
            if (c == '|') c = ' ';
        const std::string name = option->get_lnames().front();
        out += "        '" + command.get_name() + " --" + name + "') words='" + value + "' ;;\n";
    }
    return out;
}

}  // namespace

std::string manualName(const CLI::App& command) {
    const CLI::App* above = command.get_parent();
    return (above ? manualName(*above) + "-" : std::string()) + command.get_name();
}

std::string manualPage(const CLI::App& command) {
    const std::string name = manualName(command);
    std::string typed = name;
    for (char& c : typed)
        if (c == '-') c = ' ';
    std::string page = ".TH " + name + " 1 \"\" \"plateloom " PLATELOOM_VERSION "\"\n.SH NAME\n" +
                       escaped(name) + " \\- " + escaped(command.get_description()) +
                       "\n.SH SYNOPSIS\n.B " + escaped(typed) + "\n";
    const auto below = commandsOf(command);
    if (!below.empty()) page += ".I COMMAND\n";
    std::string arguments, groups;
    for (const CLI::Option* option : optionsOf(command))
        if (option->get_positional()) {
            page += ".I " + escaped(namesOf(*option)) + "\n";
            arguments += optionEntry(*option);
        }
    page += "[\\fIOPTIONS\\fR]\n";
    if (!below.empty()) {
        page += ".SH COMMANDS\n";
        for (const CLI::App* one : below)
            page += ".TP\n\\fB" + escaped(one->get_name()) + "\\fR\n" +
                    escaped(one->get_description()) + "; see \\fB" + escaped(manualName(*one)) +
                    "\\fR(1).\n";
    }
    page += ".SH OPTIONS\n" + arguments;
    for (const std::string& group : command.get_groups()) {
        std::string entries;
        for (const CLI::Option* option : optionsOf(command))
            if (option->get_group() == group && !option->get_positional())
                entries += optionEntry(*option);
        if (!group.empty() && !entries.empty()) page += ".SS " + escaped(group) + "\n" + entries;
    }
    if (!command.get_footer().empty()) page += ".SH NOTES\n" + escaped(command.get_footer()) + "\n";
    page += kStatuses;
    if (const CLI::App* above = command.get_parent())
        page += ".SH SEE ALSO\n\\fB" + escaped(manualName(*above)) + "\\fR(1)\n";
    return page;
}

std::string bashCompletion(const CLI::App& program) {
    std::string names, choices;
    for (const CLI::App* command : commandsOf(program)) {
        std::vector<const CLI::App*> all = commandsOf(*command);
        if (!all.empty())
            names += "        " + command->get_name() + ") words='" + words(all) + "' ;;\n";
        all.push_back(command);
        for (const CLI::App* one : all) {
            if (commandsOf(*one).empty())
                names +=
                    "        " + one->get_name() + ") options='" + optionWords(*one) + "' ;;\n";
            choices += choiceBranches(*one);
        }
    }
    return "# Completion of plateloom's commands and options for bash.\n"
           "_plateloom() {\n"
           "    local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD-1]}\n"
           "    local command='' options='" +
           optionWords(program) + "' words='" + words(commandsOf(program)) +
           "' i\n"
           "    for ((i = 1; i < COMP_CWORD; ++i)); do\n"
           "        [[ ${COMP_WORDS[i]} == -* ]] && continue\n"
           "        case \"${COMP_WORDS[i]}\" in\n"
           "        " +
           [&] {
               std::string any;
               for (const CLI::App* command : commandsOf(program)) {
                   any += (any.empty() ? "" : "|") + command->get_name();
                   for (const CLI::App* one : commandsOf(*command)) any += "|" + one->get_name();
               }
               return any;
           }() +
           ") command=${COMP_WORDS[i]} ;;\n"
           "        esac\n"
           "    done\n"
           "    [ -z \"$command\" ] || words=''\n"
           "    case $command in\n" +
           names +
           "    esac\n"
           "    if [[ $current == -* ]]; then\n"
           "        words=$options\n"
           "    else\n"
           "        case \"$command $previous\" in\n" +
           choices +
           "        esac\n"
           "    fi\n"
           "    if [ -n \"$words\" ]; then\n"
           "        COMPREPLY=($(compgen -W \"$words\" -- \"$current\"))\n"
           "    else\n"
           "        COMPREPLY=($(compgen -f -- \"$current\"))\n"
           "        compopt -o filenames 2>/dev/null\n"
           "    fi\n"
           "}\n"
           "complete -F _plateloom plateloom\n";
}

}  // namespace plateloom::cli
