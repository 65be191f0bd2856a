#include "stitch/view/contact_sheet.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "io/display_picture.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kMostCells = 60;
constexpr int kCellWidth = 320;  // pixels
constexpr int kMostAcross = 6;
constexpr int kGap = 12, kLabelHeight = 26;
constexpr double kLetters = 0.55;  // of OpenCV's Hershey font, whose capitals are 21 px high

io::Picture shrunk(const io::Picture& picture, int width) {
    const double ratio = double(width) / picture.width;
    io::Picture small(width, std::max(1, int(std::lround(picture.height * ratio))), 4);
    const cv::Mat from(picture.height, picture.width, CV_32FC4,
                       const_cast<float*>(picture.data.data()));
    cv::Mat to(small.height, small.width, CV_32FC4, small.data.data());
    cv::resize(from, to, to.size(), 0, 0, ratio < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
    return small;
}

}  // namespace

ContactSheet::ContactSheet(size_t frames) : frames_(frames) {}

bool ContactSheet::wants(size_t index) const {
    if (frames_ <= kMostCells) return true;
    // Some k has round(k (frames - 1) / (cells - 1)) = index.
    const size_t last = frames_ - 1, steps = kMostCells - 1;
    const size_t k = (index * steps + last / 2) / last;
    return (k * last + steps / 2) / steps == index;
}

void ContactSheet::add(size_t index, const std::string& label, const io::Picture& picture,
                       const PixelBounds& bounds, int width, int height) {
    if (!wants(index)) return;
    Cell cell;
    cell.index = index;
    cell.label = label;
    cell.picture = shrunk(picture, kCellWidth);
    const double ratio = double(kCellWidth) / picture.width;
    cell.overscan =
        bounds.x0 != 0 || bounds.y0 != 0 || bounds.width() != width || bounds.height() != height;
    cell.frame_x0 = int(std::lround(-bounds.x0 * ratio));
    cell.frame_y0 = int(std::lround(-bounds.y0 * ratio));
    cell.frame_x1 = int(std::lround((width - bounds.x0) * ratio)) - 1;
    cell.frame_y1 = int(std::lround((height - bounds.y0) * ratio)) - 1;
    cells_.push_back(std::move(cell));
}

void ContactSheet::write(const std::filesystem::path& path) const {
    if (cells_.empty()) return;
    std::vector<const Cell*> ordered;
    std::vector<const io::Picture*> pictures;
    int cell_height = 0;
    for (const auto& cell : cells_) {
        ordered.push_back(&cell);
        pictures.push_back(&cell.picture);
        cell_height = std::max(cell_height, cell.picture.height);
    }
    std::sort(ordered.begin(), ordered.end(),
              [](const Cell* a, const Cell* b) { return a->index < b->index; });
    const float exposure = io::displayExposure(pictures);
    const int across = std::min(int(ordered.size()), kMostAcross);
    const int down = (int(ordered.size()) + across - 1) / across;
    const int step_x = kCellWidth + kGap, step_y = cell_height + kLabelHeight + kGap;
    io::Picture sheet(across * step_x + kGap, down * step_y + kGap, 3, 0.11f);
    cv::Mat canvas(sheet.height, sheet.width, CV_32FC3, sheet.data.data());
    for (size_t k = 0; k < ordered.size(); ++k) {
        const Cell& cell = *ordered[k];
        io::Picture shown = io::displayPicture(cell.picture, exposure);
        cv::Mat small(shown.height, shown.width, CV_32FC3, shown.data.data());
        if (cell.overscan)
            cv::rectangle(small, {cell.frame_x0, cell.frame_y0}, {cell.frame_x1, cell.frame_y1},
                          cv::Scalar::all(0.85), 1);
        const int x = kGap + int(k) % across * step_x, y = kGap + int(k) / across * step_y;
        small.copyTo(canvas(cv::Rect(x, y, small.cols, small.rows)));
        cv::putText(canvas, cell.label, {x, y + cell_height + kLabelHeight - 8},
                    cv::FONT_HERSHEY_SIMPLEX, kLetters, cv::Scalar::all(0.85), 1, cv::LINE_AA);
    }
    io::writeDisplayPicture(path, sheet, io::Made::sheet);
}

}  // namespace plateloom::stitch
