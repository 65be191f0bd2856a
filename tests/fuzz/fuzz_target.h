// A fuzz target hands arbitrary bytes to one reader. Whatever they are, the reader returns or
// throws InputError; anything else is a defect: another exception, a sanitizer's finding, a check
// of `holds` below, more memory or time than a file of that size can ask for.
//
// A target is built twice. With PLATELOOM_FUZZ each is a libFuzzer program (tests/fuzz/run). The
// tests link all into `fuzz_replay` (replay.cpp), which runs the seeds and a fixed set of
// mutations.
#pragma once

#include <unistd.h>

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

#include "io/input_error.h"

namespace plateloom::fuzz {

using Target = void (*)(std::string_view bytes);
/// Adds to what fuzz_replay runs; returns true.
bool addTarget(const char* name, Target target);

#ifdef PLATELOOM_FUZZ
#define PLATELOOM_FUZZ_TARGET(name)                                           \
    static void name(std::string_view bytes);                                 \
    extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) { \
        name({reinterpret_cast<const char*>(data), size});                    \
        return 0;                                                             \
    }                                                                         \
    static void name(std::string_view bytes)
#else
#define PLATELOOM_FUZZ_TARGET(name)                                                              \
    static void name(std::string_view bytes);                                                    \
    [[maybe_unused]] static const bool name##_added = ::plateloom::fuzz::addTarget(#name, name); \
    static void name(std::string_view bytes)
#endif

/// Ends the program where what a reader promises does not hold.
inline void holds(bool promise, const char* what) {
    if (promise) return;
    std::fprintf(stderr, "a reader's promise does not hold: %s\n", what);
    std::abort();
}

/// The bytes as a file, for readers that take a path; it is overwritten by the next call with this
/// name, and removed at the end.
inline std::filesystem::path fileOf(std::string_view bytes, const char* name) {
    struct Scratch {
        Scratch() {
            // In memory where that is possible: a disk writes each file back.
            std::error_code none;
            const std::filesystem::path memory = "/dev/shm";
            const bool in_memory = std::filesystem::is_directory(memory, none);
            const auto folder = in_memory ? memory : std::filesystem::temp_directory_path();
            std::string made = (folder / "fuzz.XXXXXX").string();
            holds(::mkdtemp(made.data()) != nullptr, "there is a folder for temporary files");
            path = made;
        }
        ~Scratch() {
            std::error_code ignored;
            std::filesystem::remove_all(path, ignored);
        }
        std::filesystem::path path;
    };
    static const Scratch scratch;
    const auto path = scratch.path / name;
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file.write(bytes.data(), std::streamsize(bytes.size()));
    holds(bool(file.flush()), "the temporary file can be written");
    return path;
}

/// Calls `read`, which may refuse its input, and nothing else.
template <typename Read>
void allowRefusal(const Read& read) {
    try {
        read();
    } catch (const io::InputError& refusal) {
        holds(refusal.what() != nullptr && *refusal.what() != '\0', "a refusal says why");
    }
}

}  // namespace plateloom::fuzz
