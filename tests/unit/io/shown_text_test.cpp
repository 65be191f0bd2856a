#include "io/shown_text.h"

#include <catch2/catch.hpp>
#include <set>

using namespace plateloom::io;

TEST_CASE("UTF-8 stays as it is, other bytes become characters that differ", "[text]") {
    for (const char* text :
         {"", "plate.1001.exr", "pl\xc3\xa4tte", "\xe2\x82\xac", "\xf0\x9f\x8e\xa5"})
        CHECK(validUtf8(text) == text);
    CHECK(validUtf8("a\xff") == "a\xef\x9f\xbf");
    CHECK(validUtf8("\x80") == "\xef\x9e\x80");
    // Overlong, a surrogate, beyond U+10FFFF, cut short (RFC 3629, section 4).
    for (const char* text :
         {"\xc0\xaf", "\xe0\x80\x80", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\xe2\x82"})
        CHECK(validUtf8(text) != text);
    std::set<std::string> all;
    for (int byte = 0; byte < 256; ++byte) all.insert(validUtf8(std::string(1, char(byte))));
    CHECK(all.size() == 256);
    for (const auto& text : all) CHECK(validUtf8(text) == text);
}

TEST_CASE("A terminal gets no control characters", "[text]") {
    CHECK(forTerminal("a\x1b[2Jb") == "a\\x1b[2Jb");
    CHECK(forTerminal("\xc2\x9b"
                      "31m") == "\\xc2\\x9b31m");
    CHECK(forTerminal("\x7f\r") == "\\x7f\\x0d");
    CHECK(forTerminal("\xff") == "\\xff");
    CHECK(forTerminal("pl\xc3\xa4tte\tone\n") == "pl\xc3\xa4tte\tone\n");
}
