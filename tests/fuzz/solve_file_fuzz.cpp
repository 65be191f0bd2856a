// Solve files, of stills and of clips.
#include "io/solve_file.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(solve_file) {
    using namespace plateloom;
    std::vector<io::SolvedPlate> plates;
    try {
        plates = io::readSolve(fuzz::fileOf(bytes, "solve.jsonl"));
    } catch (const io::InputError&) {
        return;
    }
    fuzz::holds(!plates.empty(), "a solve has plates");
    const auto copy = fuzz::fileOf("", "copy.jsonl");
    io::writeSolve(copy, plates);
    const auto again = io::readSolve(copy);
    fuzz::holds(again.size() == plates.size(), "a solve that was written can be read");
    for (size_t i = 0; i < plates.size(); ++i) {
        fuzz::holds(again[i].placed == plates[i].placed, "it places the same plates");
        fuzz::holds(again[i].gain == plates[i].gain, "with the same gains");
        fuzz::holds(again[i].clip.has_value() == plates[i].clip.has_value(), "and the same clips");
    }
}
