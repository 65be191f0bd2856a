#include "io/lens_table_file.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(lens_table) {
    using namespace plateloom;
    const auto path = fuzz::fileOf(bytes, "lens.json");
    (void)io::isLensTable(path);
    calib::LensTable table;
    try {
        table = io::readLensTable(path);
    } catch (const io::InputError&) {
        return;
    }
    // Every table that can be read can be added to another.
    const auto copy = fuzz::fileOf("", "copy.json");
    std::filesystem::remove(copy);
    try {
        io::addToLensTable(copy, table);
    } catch (const io::InputError&) {
        return;  // settings that contradict each other once merged
    }
    fuzz::holds(io::isLensTable(copy), "a table that was written is one");
    fuzz::holds(!io::readLensTable(copy).measured.empty(), "a table that was written can be read");
}
