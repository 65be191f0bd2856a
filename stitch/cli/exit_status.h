// What the program says to the shell that ran it.
#pragma once

#include <stdexcept>
#include <string>

namespace plateloom::cli {

enum ExitStatus {
    done = 0,
    look_at_it = 1,    ///< the job ran and found something that a person must see
    command_line = 2,  ///< the command line is wrong
    bad_input = 3,     ///< an input can't be read or contradicts another
    no_room = 4        ///< the disk is full, a folder can't be written, memory ran out
};

/// An option's value that can't be used; ends with `command_line`.
class OptionError : public std::runtime_error {
public:
    OptionError(const std::string& option, const std::string& what)
        : std::runtime_error(option + ": " + what) {}
};

}  // namespace plateloom::cli
