#include <glog/logging.h>

#include <cstdio>
#include <cstdlib>
#include <exception>
#include <new>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <optional>

#include "io/input_error.h"
#include "io/new_file.h"
#include "io/unfinished_files.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/suggestion.h"
#include "stitch/cli/terminal.h"

namespace plateloom::cli {

namespace {

// One line for people; with --json the machine hears the same.
int fail(const Run& run, ExitStatus status, const std::string& message) {
    say("plateloom: " + message);
    try {
        if (run.json) printJson({{"status", int(status)}, {"error", message}}, kOneLine);
    } catch (const io::RoomError&) {
        return status;  // the first fault counts
    }
    return status;
}

constexpr const char* kNoMemory = "out of memory; try fewer threads or a smaller --width";

// Memory that is missing where a library lets no exception through, or a fault in a thread of one.
[[noreturn]] void endAtOnce() {
    io::removeUnfinishedFiles();
    ExitStatus status = bad_input;
    std::string message = "could not go on";
    try {
        if (const auto thrown = std::current_exception()) std::rethrow_exception(thrown);
    } catch (const std::bad_alloc&) {
        status = no_room;
        message = kNoMemory;
    } catch (const std::exception& error) {
        message += std::string(": ") + error.what();
    } catch (...) {
    }
    say("plateloom: " + message);
    std::_Exit(status);
}

// The status of what is no run: help, or a command line that can't be understood.
std::optional<int> parse(CLI::App& program, int argc, char** argv) {
    try {
        program.parse(argc, argv);
        return std::nullopt;
    } catch (const CLI::ParseError& error) {
        const int code = program.exit(error);
        const std::string meant =
            code == 0 ? std::string() : suggestionFor(program, {argv + 1, argv + argc});
        if (!meant.empty()) say(meant);
        flushStandardOutput();
        return code == 0 ? int(done) : int(command_line);
    }
}

int runProgram(int argc, char** argv) {
    CLI::App program;
    Run run;
    describeProgram(program, run);
    try {
        if (const auto status = parse(program, argc, argv)) return *status;
        flushStandardOutput();
    } catch (const io::OutputRefused& error) {
        return fail(run, command_line, error.what());
    } catch (const io::OptionError& error) {
        return fail(run, command_line, error.what());
    } catch (const io::InputError& error) {
        return fail(run, bad_input, error.what());
    } catch (const io::RoomError& error) {
        return fail(run, no_room, error.what());
    } catch (const std::bad_alloc&) {
        return fail(run, no_room, kNoMemory);
    } catch (const cv::Exception& error) {
        if (error.code == cv::Error::StsNoMem) return fail(run, no_room, kNoMemory);
        return fail(run, bad_input, "could not go on: " + error.err);
    } catch (const std::exception& error) {
        return fail(run, bad_input, std::string("could not go on: ") + error.what());
    }
    return run.status;
}

}  // namespace

}  // namespace plateloom::cli

int main(int argc, char** argv) {
    // The solver's library logs to standard error on its own; what matters is told in our words.
    FLAGS_minloglevel = google::GLOG_FATAL;
    plateloom::io::installSignalCleanup();
    std::set_terminate(plateloom::cli::endAtOnce);
    return plateloom::cli::runProgram(argc, argv);
}
