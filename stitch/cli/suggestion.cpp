#include "stitch/cli/suggestion.h"

#include <algorithm>
#include <cctype>
#include <map>

namespace plateloom::cli {

namespace {

std::string lowered(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(),
                   [](unsigned char c) { return char(std::tolower(c)); });
    return text;
}

std::vector<std::string> namesOfCommands(const CLI::App& app) {
    std::vector<std::string> names;
    for (const CLI::App* command : app.get_subcommands({})) names.push_back(command->get_name());
    return names;
}

// Options by their long names, of the program and its commands so far.
using Options = std::map<std::string, const CLI::Option*>;

void addOptions(const CLI::App& app, Options* options) {
    for (const CLI::Option* option : app.get_options())
        for (const std::string& name : option->get_lnames()) (*options)["--" + name] = option;
}

std::vector<std::string> namesOf(const Options& options) {
    std::vector<std::string> names;
    for (const auto& [name, option] : options) names.push_back(name);
    return names;
}

}  // namespace

int editDistance(const std::string& a, const std::string& b) {
    std::vector<int> before, last, row(b.size() + 1);
    for (size_t j = 0; j <= b.size(); ++j) row[j] = int(j);
    for (size_t i = 1; i <= a.size(); ++i) {
        before = std::move(last);
        last = row;
        row[0] = int(i);
        for (size_t j = 1; j <= b.size(); ++j) {
            const bool same = a[i - 1] == b[j - 1];
            row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (same ? 0 : 1)});
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                row[j] = std::min(row[j], before[j - 2] + 1);
        }
    }
    return row.back();
}

std::string nearestWord(const std::string& typed, const std::vector<std::string>& known) {
    constexpr size_t kLettersAnEdit = 3;
    const std::string wanted = lowered(typed);
    const size_t letters = wanted.size() - std::min(wanted.find_first_not_of('-'), wanted.size());
    std::string nearest;
    int least = int(std::max<size_t>(1, letters / kLettersAnEdit)) + 1;
    for (const std::string& word : known) {
        const int distance = editDistance(wanted, lowered(word));
        if (distance >= least) continue;
        least = distance;
        nearest = word;
    }
    if (!nearest.empty() || letters < 2) return nearest;
    for (const std::string& word : known) {
        if (!lowered(word).starts_with(wanted)) continue;
        if (!nearest.empty()) return "";
        nearest = word;
    }
    return nearest;
}

std::string suggestionFor(const CLI::App& program, const std::vector<std::string>& arguments) {
    const auto said = [](const std::string& typed, const char* kind, const std::string& nearest) {
        return nearest.empty() ? std::string()
                               : typed + " is no " + kind + "; did you mean " + nearest + "?";
    };
    const CLI::App* app = &program;
    Options options;
    addOptions(*app, &options);
    for (size_t i = 0; i < arguments.size() && arguments[i] != "--"; ++i) {
        const std::string& argument = arguments[i];
        if (argument.starts_with("--")) {
            const std::string typed = argument.substr(0, argument.find('='));
            const auto option = options.find(typed);
            if (option == options.end())
                return said(typed, "option", nearestWord(typed, namesOf(options)));
            // Its value, which may look like anything.
            if (typed == argument && option->second->get_items_expected_max() > 0) ++i;
            continue;
        }
        const auto commands = namesOfCommands(*app);
        if (argument.starts_with("-") || commands.empty()) continue;
        if (std::find(commands.begin(), commands.end(), argument) == commands.end())
            return said(argument, "command", nearestWord(argument, commands));
        app = app->get_subcommand(argument);
        addOptions(*app, &options);
    }
    return "";
}

}  // namespace plateloom::cli
