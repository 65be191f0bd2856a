#include "io/seam_pictures.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "io/input_error.h"
#include "io/made_picture.h"
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

std::vector<std::filesystem::path> seamPictures(const std::filesystem::path& folder) {
    std::error_code error;
    std::vector<std::filesystem::path> pictures;
    for (std::filesystem::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error))
        if (isSeamPicture(entry->path())) pictures.push_back(entry->path());
    std::sort(pictures.begin(), pictures.end());
    return pictures;
}

void keepSeamPictures(const std::filesystem::path& folder, const std::vector<int64_t>& frames) {
    std::error_code error;
    for (const auto& path : seamPictures(folder)) {
        const auto is_kept = [&](int64_t frame) { return path == pathOf(folder, frame); };
        if (std::none_of(frames.begin(), frames.end(), is_kept))
            std::filesystem::remove(path, error);
    }
}

std::unique_ptr<NewFile> writeSeamPicture(const std::filesystem::path& folder, int64_t frame,
                                          const Picture& cameras, const std::string& set) {
    PictureTags tags;
    tags.colour_space = "scene_linear";
    tags.recipe = set;
    return writeMadeBeside(pathOf(folder, frame), cameras, tags, true,
                           {0, 0, cameras.width, cameras.height}, Made::seams);
}

std::string setOfSeamPicture(const std::filesystem::path& folder, int64_t frame) {
    return recipeOf(pathOf(folder, frame));
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
