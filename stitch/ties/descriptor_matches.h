// Nearest neighbours among descriptors, by brute force: for a pair of plates exact and quicker than
// a tree. Rows are 128 16-bit whole numbers of Euclidean length 512 (see features.cpp), so a dot
// product is one integer and nearer means larger.
#pragma once

#include <algorithm>
#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace plateloom::stitch {

constexpr int kNeighbours = 4;

struct Neighbour {
    int row = -1;  ///< -1: there is none
    int dot = -1;
};

struct DescriptorMatches {
    std::vector<std::array<Neighbour, kNeighbours>> b_of_a;  ///< nearest first
    std::vector<Neighbour> a_of_b;                           ///< the nearest only
};

[[nodiscard]] DescriptorMatches matchDescriptors(const cv::Mat& a, const cv::Mat& b);

/// Dot product of two descriptor rows.
[[nodiscard]] int descriptorDot(const int16_t* a, const int16_t* b);

/// Squared Euclidean distance of two unit descriptors whose dot product this is: 0 to 2.
[[nodiscard]] inline double squaredDistance(int dot) {
    return 2.0 - 2.0 * dot / (512.0 * 512.0);
}

}  // namespace plateloom::stitch
