// A stream of JSON objects, one a sample, and the fields of one with words for complaints.
//
// Samples are cut out of the text by their brackets before any of them is parsed, so that an array,
// one sample a line and pretty-printed samples one after the other are the same thing, a sample's
// line is known, and a long track never stands in memory as a tree.
#pragma once

#include <cstdint>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace plateloom::io {

/// Where one sample's text stands.
struct JsonSample {
    std::string_view text;
    int line = 1;    ///< where it begins
    int number = 1;  ///< 1 for the first
};

/// Throws InputError for anything but objects: bare or in one array. `text` must outlive the
/// result.
[[nodiscard]] std::vector<JsonSample> splitSamples(std::string_view text,
                                                   const std::filesystem::path& path);

/// Throws InputError naming the line and showing what stands there.
[[nodiscard]] nlohmann::json parseSample(const JsonSample& sample,
                                         const std::filesystem::path& path);

/// "FILE:LINE (sample N)".
[[nodiscard]] std::string whereIs(const std::filesystem::path& path, int line, int number);

/// An object inside a sample. An absent object has no fields; whatever is there has to be what it
/// is asked for as, or InputError says where and what was found.
class JsonFields {
public:
    JsonFields(const nlohmann::json& root, const JsonSample& sample,
               const std::filesystem::path& path);

    [[nodiscard]] bool has(const char* key) const { return find(key) != nullptr; }
    [[nodiscard]] explicit operator bool() const { return value_ != nullptr; }

    [[nodiscard]] JsonFields object(const char* key) const;
    /// The same where others may have put something of another kind: that counts as absent.
    [[nodiscard]] JsonFields objectIfAny(const char* key) const;
    /// Elements of an array of objects. A bare object counts as an array of one.
    [[nodiscard]] std::vector<JsonFields> objects(const char* key) const;
    [[nodiscard]] std::optional<double> number(const char* key) const;
    [[nodiscard]] std::optional<int64_t> whole(const char* key, int64_t least, int64_t most) const;
    [[nodiscard]] std::vector<double> numbers(const char* key, size_t most) const;
    [[nodiscard]] std::optional<bool> flag(const char* key) const;
    /// "" when absent.
    [[nodiscard]] std::string text(const char* key) const;

    /// Throws InputError: "FILE:LINE (sample N): lens.radial: what".
    [[noreturn]] void fault(const char* key, const std::string& what) const;

private:
    JsonFields(const JsonFields& parent, const nlohmann::json* value, const char* key, int index);
    [[nodiscard]] const nlohmann::json* find(const char* key) const;
    [[nodiscard]] std::string name() const;

    const nlohmann::json* value_ = nullptr;
    const JsonSample* sample_ = nullptr;
    const std::filesystem::path* path_ = nullptr;
    std::string prefix_;  // "lens." and the like, "" at the root
};

}  // namespace plateloom::io
