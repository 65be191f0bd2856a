// A file of JSON objects, one a sample: in an array, one a line, or pretty-printed one after the
// other. One sample stands in memory at a time.
#pragma once

#include <filesystem>
#include <string_view>

#include "io/json_fields.h"
#include "io/json_tree.h"

namespace plateloom::io {

class JsonSamples {
public:
    /// `text` and `path` must outlive the reader.
    JsonSamples(std::string_view text, const std::filesystem::path& path)
        : text_(text), path_(path) {}

    /// Parses the next sample; false at the end. Throws InputError naming line and what stands
    /// there, for what is not JSON and for anything but objects, bare or in one array.
    bool next();

    /// The sample; valid until the next.
    [[nodiscard]] JsonFields fields() const { return {tree_, tree_.node(0), &place_}; }
    [[nodiscard]] int line() const { return place_.line; }
    [[nodiscard]] int number() const { return place_.number; }

private:
    void advanceTo(size_t at);
    [[noreturn]] void refuse(size_t at, const std::string& what) const;

    std::string_view text_;
    const std::filesystem::path& path_;
    JsonTree tree_;
    SamplePlace place_{path_, text_, 0, 1, 0};
    size_t at_ = 0;
    int line_ = 1;
    enum class Array { none, open, closed } array_ = Array::none;
    bool comma_ = true;  // a sample may follow
};

}  // namespace plateloom::io
