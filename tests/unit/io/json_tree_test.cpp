#include "io/json_tree.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <random>

using plateloom::io::JsonFault;
using plateloom::io::JsonNode;
using plateloom::io::JsonTree;

namespace {

// The tree as the general library's value: another way to the same answer.
nlohmann::json valueOf(const JsonTree& tree, const JsonNode& node) {
    switch (node.kind) {
        case JsonNode::Kind::null:
            return nullptr;
        case JsonNode::Kind::boolean:
            return node.truth;
        case JsonNode::Kind::number:
            return node.number;
        case JsonNode::Kind::text:
            return std::string(node.text);
        case JsonNode::Kind::array:
        case JsonNode::Kind::object:
            break;
    }
    const bool object = node.kind == JsonNode::Kind::object;
    nlohmann::json out = object ? nlohmann::json::object() : nlohmann::json::array();
    for (auto* e = tree.first(node); e; e = tree.after(node, *e)) {
        if (object)
            out[std::string(e->key)] = valueOf(tree, *e);
        else
            out.push_back(valueOf(tree, *e));
    }
    return out;
}

// Whole text, or nothing where it is not JSON.
std::optional<nlohmann::json> read(const std::string& text) {
    JsonTree tree;
    try {
        const size_t end = tree.parse(text);
        if (text.find_first_not_of(" \t\r\n", end) != std::string::npos) return std::nullopt;
        return valueOf(tree, tree.node(0));
    } catch (const JsonFault& fault) {
        CHECK(fault.at <= text.size());
        return std::nullopt;
    }
}

const std::string kSample = R"({"a": [1, -2.5e-3, 0, 1E+2], "b\u00e9\n": {"c": true, "d": null},
    "text": "\"\\\/\b\f\n\r\t \u20ac \ud83d\ude00", "": {}, "e": [], "f": [[false]], "a2": 1e-400})";

}  // namespace

TEST_CASE("A text is the same value as the general library reads") {
    REQUIRE(read(kSample));
    CHECK(*read(kSample) == nlohmann::json::parse(kSample));
}

TEST_CASE("Damaged texts are accepted and refused as the general library does") {
    std::mt19937 random(2);
    const std::string alphabet = R"({}[]",:0123456789.eE+-truefalsn\u "x)";
    size_t accepted = 0;
    for (int trial = 0; trial < 40000; ++trial) {
        std::string text = kSample;
        for (unsigned edits = 1 + random() % 3; edits > 0; --edits) {
            const size_t at = random() % text.size();
            switch (random() % 3) {
                case 0:
                    text[at] = alphabet[random() % alphabet.size()];
                    break;
                case 1:
                    text.erase(at, 1 + random() % 4);
                    break;
                default:
                    text.insert(at, 1, alphabet[random() % alphabet.size()]);
            }
        }
        // Bytes that are not UTF-8 are let through here, and numbers beyond a double are a fault.
        std::optional<nlohmann::json> theirs;
        try {
            theirs = nlohmann::json::parse(text);
        } catch (const nlohmann::json::exception&) {
        }
        const auto ours = read(text);
        INFO(text);
        REQUIRE(ours.has_value() == theirs.has_value());
        if (ours) REQUIRE(*ours == *theirs);
        accepted += ours.has_value();
    }
    CHECK(accepted > 1000);
}

TEST_CASE("A text cut off anywhere is refused at its end") {
    for (size_t length = 0; length < kSample.size(); ++length) {
        JsonTree tree;
        const std::string text = kSample.substr(0, length);
        CHECK_THROWS_AS(tree.parse(text), JsonFault);
    }
}

TEST_CASE("Nesting without end is refused, not followed until the stack is full") {
    CHECK_FALSE(read(std::string(1000000, '[')));
    CHECK_FALSE(read(std::string(110, '[') + std::string(110, ']')));
    CHECK(read(std::string(90, '[') + std::string(90, ']')));
}

TEST_CASE("Every value knows where it stood, and the tree can be used again") {
    JsonTree tree;
    const std::string text = "  {\"x\": 12, \"y\": [3, 45]}  {\"z\": 6}";
    const size_t end = tree.parse(text);
    CHECK(text.substr(tree.node(0).at, tree.node(0).end - tree.node(0).at) ==
          "{\"x\": 12, \"y\": [3, 45]}");
    const JsonNode* y = tree.find(tree.node(0), "y");
    REQUIRE(y);
    CHECK(text.substr(y->at, y->end - y->at) == "[3, 45]");
    CHECK_FALSE(tree.find(tree.node(0), "z"));
    tree.parse(text, end);
    REQUIRE(tree.find(tree.node(0), "z"));
    CHECK(tree.find(tree.node(0), "z")->number == 6);
}
