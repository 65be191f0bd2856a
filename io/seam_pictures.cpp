#include "io/seam_pictures.h"

#include <cmath>
#include <string>

#include "io/input_error.h"
#include "io/new_file.h"
#include "io/plate_file.h"

namespace plateloom::io {

namespace {

std::filesystem::path pathOf(const std::filesystem::path& folder, int64_t frame) {
    return framePath((folder / "seams.####.exr").string(), frame);
}

bool isSeamPicture(const std::filesystem::path& path) {
    const std::string name = path.filename().string();
    return name.starts_with("seams.") && path.extension() == ".exr";
}

}  // namespace

void startSeamPictures(const std::filesystem::path& folder) {
    makeFolder(folder);
    std::error_code error;
    std::vector<std::filesystem::path> old;
    for (std::filesystem::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error))
        if (isSeamPicture(entry->path())) old.push_back(entry->path());
    for (const auto& path : old) std::filesystem::remove(path, error);
}

void writeSeamPicture(const std::filesystem::path& folder, int64_t frame, const Picture& cameras) {
    PictureTags tags;
    tags.colour_space = "scene_linear";
    writePicture(pathOf(folder, frame), cameras, tags, true, {0, 0, cameras.width, cameras.height});
}

Picture readSeamPicture(const std::filesystem::path& folder, int64_t frame, int cameras) {
    const auto path = pathOf(folder, frame);
    const PlatePixels pixels = readPlatePixels(readPlateHeader(path));
    Picture picture(pixels.width, pixels.height, 1);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            const float number = rgba[0];
            if (number != std::round(number) || number < 0 || number > float(cameras))
                throw InputError(path.string(), "pixel (" + std::to_string(x) + ", " +
                                                    std::to_string(y) +
                                                    ") is not the number of a camera, 0 to " +
                                                    std::to_string(cameras));
            *picture.at(x, y) = number;
        }
    return picture;
}

}  // namespace plateloom::io
