// The fields of a JSON object, with words for complaints.
//
// An absent object has no fields; whatever is there has to be what it is asked for as, or
// InputError says file, line, sample and field, and what was found.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "io/json_tree.h"

namespace plateloom::io {

/// Where a sample stands in its file.
struct SamplePlace {
    const std::filesystem::path& path;
    std::string_view text;  ///< of the file
    size_t at = 0;          ///< its first byte
    int line = 1;           ///< where it begins
    int number = 1;         ///< 1 for the first
};

/// "FILE:LINE (sample N)".
[[nodiscard]] std::string whereIs(const std::filesystem::path& path, int line, int number);

class JsonFields {
public:
    JsonFields(const JsonTree& tree, const JsonNode& root, const SamplePlace* place)
        : tree_(&tree), value_(&root), place_(place) {}

    [[nodiscard]] bool has(const char* key) const { return find(key) != nullptr; }
    [[nodiscard]] bool hasText(const char* key) const;
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
    JsonFields(const JsonFields& parent, const JsonNode* value, std::string_view name);
    [[nodiscard]] const JsonNode* find(const char* key) const {
        return value_ ? tree_->find(*value_, key) : nullptr;
    }
    [[nodiscard]] std::string seen(const JsonNode& node) const;

    const JsonTree* tree_;
    const JsonNode* value_;
    const SamplePlace* place_;
    std::string prefix_;  // "lens." and the like, "" at the root
};

}  // namespace plateloom::io
