// A fault in something that the user gave: what, where, what to do. Readers throw it; the command
// line turns it into one line and exit status 3 (or 4 when the machine ran out of room or memory).
#pragma once

#include <stdexcept>
#include <string>

namespace plateloom::io {

class InputError : public std::runtime_error {
public:
    /// `where` is a file, optionally with ":line" or a field's name; `what` is one short sentence
    /// that says what was found and what to do about it.
    InputError(const std::string& where, const std::string& what)
        : std::runtime_error(where.empty() ? what : where + ": " + what) {}
};

/// The fault is in an option itself: exit status 2. `option` as it is typed, with its value.
class OptionError : public InputError {
public:
    OptionError(const std::string& option, const std::string& what) : InputError(option, what) {}
};

/// The disk is full, the folder can't be written, memory ran out.
class RoomError : public std::runtime_error {
public:
    RoomError(const std::string& where, const std::string& what)
        : std::runtime_error(where + ": " + what) {}
};

}  // namespace plateloom::io
