#include "io/html.h"

#include <nlohmann/json.hpp>

namespace plateloom::io {

std::string htmlText(const std::string& text) {
    using nlohmann::json;
    // The JSON library knows UTF-8: what it writes with replacements, it reads again.
    const auto valid = json::parse(json(text).dump(-1, ' ', false, json::error_handler_t::replace))
                           .get<std::string>();
    std::string out;
    for (const char c : valid) switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            default:
                out += c;
        }
    return out;
}

}  // namespace plateloom::io
