#include "stitch/plates/working_primaries.h"

#include <algorithm>
#include <map>

#include "io/colour.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

std::array<float, 9> matrixFor(const io::PlateFile& file, const io::Chromaticities& working) {
    const auto matrix = io::rgbFromRgb(working, *file.chromaticities);
    if (!matrix)
        throw io::InputError(file.where(),
                             "its chromaticities (" + io::inWords(*file.chromaticities) +
                                 ") are no primaries that light can have: correct the header, or "
                                 "give --colour-space");
    std::array<float, 9> values{};
    for (int row = 0; row < 3; ++row)
        for (int column = 0; column < 3; ++column)
            values[size_t(3 * row + column)] = float((*matrix)(row, column));
    return values;
}

std::string plates(size_t count, size_t of) {
    return std::to_string(count) + " of " + std::to_string(of) + (of == 1 ? " plate" : " plates");
}

}  // namespace

PrimariesFound useOnePrimaries(const std::vector<io::PlateFile*>& files,
                               const std::string& working_space) {
    PrimariesFound found;
    const auto stated = std::find_if(files.begin(), files.end(),
                                     [](const auto* file) { return file->chromaticities; });
    if (working_space.empty() && stated == files.end()) return found;
    const io::Chromaticities working =
        working_space.empty() ? *(*stated)->chromaticities : io::primariesOfSpace(working_space);
    std::map<std::string, size_t> converted;
    size_t silent = 0;
    for (io::PlateFile* file : files) {
        if (!file->chromaticities) {
            ++silent;
        } else if (!io::same(*file->chromaticities, working)) {
            file->to_working = matrixFor(*file, working);
            ++converted[io::inWords(*file->chromaticities)];
        }
        file->chromaticities = working;
    }
    for (const auto& [from, count] : converted)
        found.notes.push_back(plates(count, files.size()) + " converted from " + from + " to " +
                              io::inWords(working) + " primaries");
    if (silent > 0 && (silent < files.size() || !working_space.empty()))
        found.warnings.push_back(plates(silent, files.size()) +
                                 " do not state their primaries and are taken to be in " +
                                 io::inWords(working) + ": give --colour-space if they are not");
    return found;
}

}  // namespace plateloom::stitch
