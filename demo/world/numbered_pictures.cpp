#include "world/numbered_pictures.h"

#include "io/input_error.h"
#include "io/plate_file.h"

namespace plateloom::world {

std::string frameNumberOf(const std::filesystem::path& path) {
    const std::string stem = path.stem().string();
    return stem.substr(stem.find_last_not_of("0123456789") + 1);
}

std::map<std::string, std::filesystem::path> framesByNumber(
    const std::vector<std::string>& files_or_folders) {
    std::map<std::string, std::filesystem::path> frames;
    for (const auto& path : io::expandPlates(files_or_folders, std::nullopt))
        frames[frameNumberOf(path)] = path;
    return frames;
}

io::Picture readNumberedPicture(const std::map<std::string, std::filesystem::path>& frames,
                                const std::string& number) {
    const auto found = frames.find(number);
    if (found == frames.end())
        throw io::InputError("frame " + number, "is missing among the frames to compare with");
    const io::PlatePixels pixels = io::readPlatePixels(io::readPlateHeader(found->second));
    io::Picture out(pixels.width, pixels.height, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, out.at(x, y));
    return out;
}

}  // namespace plateloom::world
