#include "io/twin_files.h"

#include <algorithm>
#include <array>
#include <fstream>
#include <map>
#include <string>

namespace plateloom::io {

namespace {

constexpr std::streamsize kProbe = 4096;

// Bytes from the beginning, the middle and the end.
std::string probe(const std::filesystem::path& path, std::uintmax_t size) {
    std::ifstream file(path, std::ios::binary);
    std::string out;
    std::array<char, kProbe> block;
    for (const std::uintmax_t at :
         {std::uintmax_t(0), size / 2, size - std::min<std::uintmax_t>(size, kProbe)}) {
        file.clear();
        file.seekg(std::streamoff(at));
        file.read(block.data(), kProbe);
        out.append(block.data(), size_t(file.gcount()));
    }
    return out;
}

bool sameBytes(const std::filesystem::path& a, const std::filesystem::path& b) {
    std::ifstream file_a(a, std::ios::binary), file_b(b, std::ios::binary);
    if (!file_a || !file_b) return false;
    std::vector<char> block_a(1 << 18), block_b(1 << 18);
    while (true) {
        file_a.read(block_a.data(), std::streamsize(block_a.size()));
        file_b.read(block_b.data(), std::streamsize(block_b.size()));
        if (file_a.gcount() != file_b.gcount()) return false;
        if (file_a.gcount() == 0) return file_a.eof() && file_b.eof();
        if (!std::equal(block_a.begin(), block_a.begin() + file_a.gcount(), block_b.begin()))
            return false;
    }
}

}  // namespace

std::vector<size_t> firstTwins(const std::vector<std::filesystem::path>& paths) {
    std::vector<size_t> first(paths.size());
    std::map<std::pair<std::uintmax_t, std::string>, std::vector<size_t>> alike;
    for (size_t i = 0; i < paths.size(); ++i) {
        first[i] = i;
        std::error_code error;
        const std::uintmax_t size = std::filesystem::file_size(paths[i], error);
        if (error || size == 0) continue;
        auto& seen = alike[{size, probe(paths[i], size)}];
        const auto twin = std::find_if(seen.begin(), seen.end(), [&](size_t j) {
            return std::filesystem::equivalent(paths[i], paths[j], error) ||
                   sameBytes(paths[i], paths[j]);
        });
        if (twin == seen.end())
            seen.push_back(i);
        else
            first[i] = *twin;
    }
    return first;
}

}  // namespace plateloom::io
