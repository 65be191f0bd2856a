#include "stitch/calibrate/board_detection.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace plateloom::stitch {

std::string nameOf(BoardKind kind) {
    switch (kind) {
        case BoardKind::checker:
            return "checker";
        case BoardKind::charuco:
            return "charuco";
        case BoardKind::dots:
            return "dots";
    }
    return {};
}

SmallTones smallTones(const cv::Mat& tone, int longest_px) {
    SmallTones out;
    out.scale = std::max(1.0, double(std::max(tone.cols, tone.rows)) / longest_px);
    cv::Mat small = tone;
    if (out.scale > 1) {
        const cv::Size size(int(std::lround(tone.cols / out.scale)),
                            int(std::lround(tone.rows / out.scale)));
        cv::resize(tone, small, size, 0, 0, cv::INTER_AREA);
        out.scale = double(tone.cols) / size.width;
    }
    small.convertTo(out.tone, CV_8U);
    return out;
}

std::optional<FoundBoard> findBoard(const ChartLight& picture, const BoardWish& wish) {
    const auto find = *wish.kind == BoardKind::checker   ? findChecker
                      : *wish.kind == BoardKind::charuco ? findCharuco
                                                         : findDots;
    // The detectors draw from OpenCV's generator, one a thread: from the same place each time, or
    // what they find would hang on which thread looked at which pictures before.
    const auto detect = [&](const ChartLight& light) {
        cv::theRNG() = cv::RNG(1);
        return find(light, wish);
    };
    if (auto found = detect(picture)) return found;
    // A window or a lamp in the picture leaves the board in the dark: once more, brighter.
    const ChartLight brighter{picture.light, tonesOf(picture.light, 0.7)};
    return detect(brighter);
}

calib::ChartBoard boardOf(const FoundBoard& found, const BoardWish& wish) {
    calib::ChartBoard board = calib::regularBoard(found.columns, found.rows, wish.pitch_mm);
    board.dot_mm = wish.dot_mm && found.kind == BoardKind::dots ? *wish.dot_mm : found.dot_mm;
    board.turns = found.turns;
    return board;
}

}  // namespace plateloom::stitch
