// Files that are the same file, or copies of one another byte for byte.
#pragma once

#include <filesystem>
#include <vector>

namespace plateloom::io {

/// For each path the index of the first that holds the same bytes: its own where it is the first.
/// Files are compared in full only when their sizes and a few kilobytes from three places agree.
/// Paths that can't be read are nobody's twin; their reader will say why.
[[nodiscard]] std::vector<size_t> firstTwins(const std::vector<std::filesystem::path>& paths);

}  // namespace plateloom::io
