// What the program says to the shell that ran it.
#pragma once

namespace plateloom::cli {

enum ExitStatus {
    done = 0,
    look_at_it = 1,    ///< the job ran and found something that a person must see
    command_line = 2,  ///< the command line is wrong
    bad_input = 3,     ///< an input can't be read or contradicts another
    no_room = 4        ///< the disk is full, a folder can't be written, memory ran out
};

}  // namespace plateloom::cli
