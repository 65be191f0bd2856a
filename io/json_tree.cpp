#include "io/json_tree.h"

#include <charconv>
#include <cmath>
#include <cstdlib>
#include <cstring>

namespace plateloom::io {

namespace {

constexpr int kDeepest = 100;

bool isDigit(char c) {
    return c >= '0' && c <= '9';
}

void appendUtf8(unsigned code, std::string* out) {
    if (code < 0x80) {
        *out += char(code);
    } else if (code < 0x800) {
        *out += char(0xc0 | code >> 6);
        *out += char(0x80 | (code & 0x3f));
    } else if (code < 0x10000) {
        *out += char(0xe0 | code >> 12);
        *out += char(0x80 | (code >> 6 & 0x3f));
        *out += char(0x80 | (code & 0x3f));
    } else {
        *out += char(0xf0 | code >> 18);
        *out += char(0x80 | (code >> 12 & 0x3f));
        *out += char(0x80 | (code >> 6 & 0x3f));
        *out += char(0x80 | (code & 0x3f));
    }
}

}  // namespace

void JsonTree::fault(const std::string& what) const {
    if (at_ >= text_.size()) throw JsonFault(text_.size(), "the JSON ends too early");
    throw JsonFault(at_, what);
}

void JsonTree::skipBlanks() {
    while (at_ < text_.size() &&
           (text_[at_] == ' ' || text_[at_] == '\n' || text_[at_] == '\r' || text_[at_] == '\t'))
        ++at_;
}

size_t JsonTree::parse(std::string_view text, size_t at) {
    text_ = text;
    at_ = at;
    nodes_.clear();
    rewritten_.clear();
    skipBlanks();
    value({}, 0);
    return at_;
}

void JsonTree::value(std::string_view key, int depth) {
    if (depth > kDeepest) fault("nested too deeply");
    const auto index = uint32_t(nodes_.size());
    nodes_.emplace_back();
    nodes_[index].key = key;
    nodes_[index].at = at_;
    using Kind = JsonNode::Kind;
    const char c = here();
    if (c == '{' || c == '[') {
        nodes_[index].kind = c == '{' ? Kind::object : Kind::array;
        members(index, depth);
    } else if (c == '"') {
        nodes_[index].kind = Kind::text;
        nodes_[index].text = quoted();
    } else if (c == '-' || isDigit(c)) {
        nodes_[index].kind = Kind::number;
        nodes_[index].number = number();
    } else if (c == 't' || c == 'f') {
        nodes_[index].kind = Kind::boolean;
        nodes_[index].truth = c == 't';
        word(c == 't' ? "true" : "false");
    } else if (c == 'n') {
        word("null");
    } else {
        fault("a value is expected");
    }
    nodes_[index].end = at_;
    nodes_[index].next = uint32_t(nodes_.size());
}

// The inside of an object or array, brackets included.
void JsonTree::members(uint32_t container, int depth) {
    const bool object = nodes_[container].kind == JsonNode::Kind::object;
    const char closing = object ? '}' : ']';
    ++at_;
    skipBlanks();
    if (here() == closing && at_ < text_.size()) {
        ++at_;
        return;
    }
    while (true) {
        std::string_view key;
        if (object) {
            if (here() != '"') fault("a name in quotes is expected");
            key = quoted();
            skipBlanks();
            if (here() != ':') fault("a colon is expected");
            ++at_;
            skipBlanks();
        }
        value(key, depth + 1);
        skipBlanks();
        const char c = here();
        if (c != ',' && c != closing)
            fault(object ? "a comma or } is expected" : "a comma or ] is expected");
        ++at_;
        if (c == closing) return;
        skipBlanks();
    }
}

std::string_view JsonTree::quoted() {
    const size_t begin = ++at_;
    for (; at_ < text_.size(); ++at_) {
        const char c = text_[at_];
        if (c == '"') return text_.substr(begin, at_++ - begin);
        if (c == '\\') return unescaped(begin);
        if (static_cast<unsigned char>(c) < 0x20) fault("a text is not closed on its line");
    }
    fault("");
}

std::string_view JsonTree::unescaped(size_t begin) {
    std::string out(text_.substr(begin, at_ - begin));
    while (at_ < text_.size()) {
        const char c = text_[at_];
        if (c == '"') {
            ++at_;
            rewritten_.push_back(std::move(out));
            return rewritten_.back();
        }
        if (static_cast<unsigned char>(c) < 0x20) fault("a text is not closed on its line");
        ++at_;
        if (c != '\\') {
            out += c;
            continue;
        }
        constexpr std::string_view kNames = "\"\\/bfnrt", kMeant = "\"\\/\b\f\n\r\t";
        const char escape = here();
        if (const size_t known = kNames.find(escape); at_ < text_.size() && known < kNames.size()) {
            out += kMeant[known];
            ++at_;
        } else if (escape == 'u') {
            unsigned code = hexDigits();
            if (code >= 0xd800 && code < 0xdc00 && text_.substr(at_, 2) == "\\u") {
                ++at_;
                const unsigned low = hexDigits();
                if (low < 0xdc00 || low > 0xdfff) fault("a \\u escape is half a character");
                code = 0x10000 + ((code - 0xd800) << 10) + (low - 0xdc00);
            } else if (code >= 0xd800 && code < 0xe000) {
                fault("a \\u escape is half a character");
            }
            appendUtf8(code, &out);
        } else {
            fault("an unknown escape");
        }
    }
    fault("");
}

// Of an escape whose u is here.
unsigned JsonTree::hexDigits() {
    ++at_;
    unsigned code = 0;
    for (int i = 0; i < 4; ++i, ++at_) {
        const char c = here();
        const char digit = char(c | 0x20);
        if (isDigit(c))
            code = code * 16 + unsigned(c - '0');
        else if (digit >= 'a' && digit <= 'f')
            code = code * 16 + unsigned(digit - 'a') + 10;
        else
            fault("a \\u escape needs four hexadecimal digits");
    }
    return code;
}

double JsonTree::number() {
    const size_t begin = at_;
    const auto digits = [&] {
        if (!isDigit(here())) fault("a digit is expected");
        while (isDigit(here())) ++at_;
    };
    if (here() == '-') ++at_;
    if (here() == '0')
        ++at_;
    else
        digits();
    if (here() == '.') {
        ++at_;
        digits();
    }
    if (here() == 'e' || here() == 'E') {
        ++at_;
        if (here() == '+' || here() == '-') ++at_;
        digits();
    }
    double value = 0;
    const char* first = text_.data() + begin;
    if (std::from_chars(first, text_.data() + at_, value).ec == std::errc()) return value;
    // Out of range: too small for a double is as good as the nearest one, too large is a fault.
    value = std::strtod(std::string(text_.substr(begin, at_ - begin)).c_str(), nullptr);
    if (!std::isfinite(value)) throw JsonFault(begin, "a number is too large to be one");
    return value;
}

void JsonTree::word(const char* expected) {
    const size_t length = std::strlen(expected);
    if (text_.substr(at_, length) != expected) {
        if (text_.size() - at_ < length) at_ = text_.size();
        fault("a value is expected");
    }
    at_ += length;
}

const JsonNode* JsonTree::find(const JsonNode& object, std::string_view key) const {
    const JsonNode* found = nullptr;
    if (object.kind != JsonNode::Kind::object) return found;
    for (uint32_t i = indexOf(object) + 1; i < object.next; i = nodes_[i].next)
        if (nodes_[i].key == key) found = &nodes_[i];
    return found;
}

const JsonNode* JsonTree::first(const JsonNode& container) const {
    const uint32_t index = indexOf(container) + 1;
    return index < container.next ? &nodes_[index] : nullptr;
}

const JsonNode* JsonTree::after(const JsonNode& container, const JsonNode& element) const {
    return element.next < container.next ? &nodes_[element.next] : nullptr;
}

}  // namespace plateloom::io
