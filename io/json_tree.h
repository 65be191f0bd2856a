// JSON (RFC 8259) as a flat tree that remembers where each value stood.
//
// A lens track is read through this rather than through a general library for two reasons: every
// value knows its place in the file, so that a complaint about a field can name its line; and a
// long track (300 MB for an hour of samples) is read in about a second, since a tree reuses its
// memory from sample to sample and copies no text. Duplicate keys: the last one counts.
#pragma once

#include <cstdint>
#include <deque>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace plateloom::io {

/// What is wrong with the text, in plain words, and the byte where.
class JsonFault : public std::runtime_error {
public:
    JsonFault(size_t at_byte, const std::string& what) : std::runtime_error(what), at(at_byte) {}
    size_t at;
};

struct JsonNode {
    enum class Kind : uint8_t { null, boolean, number, text, array, object };
    Kind kind = Kind::null;
    bool truth = false;
    uint32_t next = 0;  ///< index of the node after this one and all that is inside it
    size_t at = 0;      ///< first byte
    size_t end = 0;     ///< one past the last byte
    double number = 0;
    std::string_view key;   ///< within an object
    std::string_view text;  ///< of a text, without quotes and escapes
};

class JsonTree {
public:
    /// Parses one value that begins at byte `at` (or after blanks) and returns the byte after it.
    /// `text` must live as long as the tree is used. Throws JsonFault.
    size_t parse(std::string_view text, size_t at = 0);

    /// Node 0 is the value itself; the nodes inside follow their container.
    [[nodiscard]] const JsonNode& node(uint32_t index) const { return nodes_[index]; }
    /// The member of an object, or nullptr.
    [[nodiscard]] const JsonNode* find(const JsonNode& object, std::string_view key) const;
    /// First and next element of an array or an object; nullptr at the end.
    [[nodiscard]] const JsonNode* first(const JsonNode& container) const;
    [[nodiscard]] const JsonNode* after(const JsonNode& container, const JsonNode& element) const;

private:
    [[nodiscard]] uint32_t indexOf(const JsonNode& node) const {
        return uint32_t(&node - nodes_.data());
    }
    void value(std::string_view key, int depth);
    void members(uint32_t container, int depth);
    std::string_view quoted();
    std::string_view unescaped(size_t begin);
    unsigned hexDigits();
    double number();
    void word(const char* expected);
    void skipBlanks();
    [[nodiscard]] char here() const { return at_ < text_.size() ? text_[at_] : '\0'; }
    [[noreturn]] void fault(const std::string& what) const;

    std::string_view text_;
    size_t at_ = 0;
    std::vector<JsonNode> nodes_;
    std::deque<std::string> rewritten_;  // texts that held escapes
};

}  // namespace plateloom::io
