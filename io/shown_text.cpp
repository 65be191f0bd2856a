#include "io/shown_text.h"

#include <cstdio>

namespace plateloom::io {

namespace {

bool isContinuation(unsigned char byte) {
    return (byte & 0xc0) == 0x80;
}

// Bytes of the character that begins the text; 0 where none does (RFC 3629, section 4).
size_t characterAt(std::string_view text) {
    const auto byte = [&](size_t i) { return static_cast<unsigned char>(text[i]); };
    const unsigned char first = byte(0);
    if (first < 0x80) return 1;
    const size_t size = first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : 2;
    if (first < 0xc2 || first > 0xf4 || text.size() < size) return 0;
    for (size_t i = 1; i < size; ++i)
        if (!isContinuation(byte(i))) return 0;
    const bool overlong = (first == 0xe0 && byte(1) < 0xa0) || (first == 0xf0 && byte(1) < 0x90);
    const bool beyond = (first == 0xed && byte(1) > 0x9f) || (first == 0xf4 && byte(1) > 0x8f);
    return overlong || beyond ? 0 : size;
}

template <class Keep, class Escape>
std::string rewritten(std::string_view text, const Keep& keep, const Escape& escape) {
    std::string out;
    while (!text.empty()) {
        const size_t size = characterAt(text);
        const std::string_view character = text.substr(0, size > 0 ? size : 1);
        if (size > 0 && keep(character))
            out += character;
        else
            for (const char byte : character) out += escape(static_cast<unsigned char>(byte));
        text.remove_prefix(character.size());
    }
    return out;
}

}  // namespace

std::string validUtf8(std::string_view text) {
    return rewritten(
        text, [](std::string_view) { return true; },
        [](unsigned char byte) {
            // U+F700 + byte in UTF-8.
            return std::string{char(0xef), char(0x9c | byte >> 6), char(0x80 | (byte & 0x3f))};
        });
}

std::string forTerminal(std::string_view text) {
    const auto is_shown = [](std::string_view character) {
        const auto first = static_cast<unsigned char>(character.front());
        if (character.size() == 1)
            return (first >= 0x20 && first != 0x7f) || first == '\n' || first == '\t';
        // U+0080 to U+009F control terminals too.
        return !(first == 0xc2 && static_cast<unsigned char>(character[1]) < 0xa0);
    };
    return rewritten(text, is_shown, [](unsigned char byte) {
        char escaped[5];
        std::snprintf(escaped, sizeof escaped, "\\x%02x", unsigned(byte));
        return std::string(escaped);
    });
}

}  // namespace plateloom::io
