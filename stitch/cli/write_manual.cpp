// Writes the manual pages and the completion script into a folder; the build runs it.
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "stitch/cli/commands.h"
#include "stitch/cli/manual.h"

namespace {

namespace cli = plateloom::cli;

bool write(const std::filesystem::path& path, const std::string& text) {
    std::ofstream file(path, std::ios::binary);
    file << text;
    file.close();
    if (!file) std::fprintf(stderr, "write_manual: %s can't be written\n", path.c_str());
    return bool(file);
}

bool writePages(const CLI::App& command, const std::filesystem::path& folder) {
    if (!write(folder / (cli::manualName(command) + ".1"), cli::manualPage(command))) return false;
    for (const CLI::App* below : command.get_subcommands([](const CLI::App*) { return true; }))
        if (!writePages(*below, folder)) return false;
    return true;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fprintf(stderr, "usage: write_manual FOLDER\n");
        return 2;
    }
    CLI::App program;
    cli::Run run;
    cli::describeProgram(program, run);
    const std::filesystem::path folder = argv[1];
    return writePages(program, folder) &&
                   write(folder / "plateloom.bash", cli::bashCompletion(program))
               ? 0
               : 4;
}
