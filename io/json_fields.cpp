#include "io/json_fields.h"

#include <algorithm>
#include <cmath>

#include "io/input_error.h"

namespace plateloom::io {

std::string whereIs(const std::filesystem::path& path, int line, int number) {
    std::string out = path.string();
    out.append(":").append(std::to_string(line));
    return out.append(" (sample ").append(std::to_string(number)).append(")");
}

JsonFields::JsonFields(const JsonFields& parent, const JsonNode* value, std::string_view name)
    : tree_(parent.tree_), value_(value), place_(parent.place_), prefix_(parent.prefix_) {
    prefix_.append(name).push_back('.');
}

// The value as written, for a person to recognize it by.
std::string JsonFields::seen(const JsonNode& node) const {
    constexpr size_t kLongest = 40;
    return std::string(place_->text.substr(node.at, std::min(node.end - node.at, kLongest)));
}

void JsonFields::fault(const char* key, const std::string& what) const {
    // The line of the field itself, else that of the object that lacks it, else the sample's.
    const JsonNode* node = find(key);
    if (!node) node = value_;
    const size_t at = node ? node->at : place_->at;
    const std::string_view before = place_->text.substr(place_->at, at - place_->at);
    const int line = place_->line + int(std::count(before.begin(), before.end(), '\n'));
    throw InputError(whereIs(place_->path, line, place_->number) + ": " + prefix_ + key, what);
}

bool JsonFields::hasText(const char* key) const {
    const JsonNode* node = find(key);
    return node && node->kind == JsonNode::Kind::text;
}

JsonFields JsonFields::object(const char* key) const {
    const JsonNode* node = find(key);
    if (node && node->kind != JsonNode::Kind::object)
        fault(key, "is not an object: " + seen(*node));
    return {*this, node, key};
}

JsonFields JsonFields::objectIfAny(const char* key) const {
    const JsonNode* node = find(key);
    const bool object = node && node->kind == JsonNode::Kind::object;
    return {*this, object ? node : nullptr, key};
}

std::vector<JsonFields> JsonFields::objects(const char* key) const {
    std::vector<JsonFields> out;
    const JsonNode* node = find(key);
    if (!node) return out;
    if (node->kind == JsonNode::Kind::object) {
        out.push_back(object(key));
        return out;
    }
    if (node->kind != JsonNode::Kind::array) fault(key, "is not an array: " + seen(*node));
    for (auto* e = tree_->first(*node); e; e = tree_->after(*node, *e)) {
        if (e->kind != JsonNode::Kind::object)
            fault(key, "holds something that is not an object: " + seen(*e));
        std::string name(key);
        name.append("[").append(std::to_string(out.size())).append("]");
        out.push_back(JsonFields(*this, e, name));
    }
    return out;
}

std::optional<double> JsonFields::number(const char* key) const {
    const JsonNode* node = find(key);
    if (!node) return std::nullopt;
    if (node->kind != JsonNode::Kind::number) fault(key, "is not a number: " + seen(*node));
    return node->number;
}

std::optional<int64_t> JsonFields::whole(const char* key, int64_t least, int64_t most) const {
    const auto value = number(key);
    if (!value) return std::nullopt;
    if (*value != std::floor(*value) || *value < double(least) || *value > double(most))
        fault(key, seen(*find(key)) + " is not a whole number from " + std::to_string(least) +
                       " to " + std::to_string(most));
    return int64_t(*value);
}

std::vector<double> JsonFields::numbers(const char* key, size_t most) const {
    std::vector<double> out;
    const JsonNode* node = find(key);
    if (!node) return out;
    if (node->kind != JsonNode::Kind::array)
        fault(key, "is not an array of numbers: " + seen(*node));
    for (auto* e = tree_->first(*node); e; e = tree_->after(*node, *e)) {
        if (e->kind != JsonNode::Kind::number)
            fault(key, "holds something that is not a number: " + seen(*e));
        out.push_back(e->number);
    }
    if (out.size() > most)
        fault(key, "has " + std::to_string(out.size()) + " terms; at most " + std::to_string(most) +
                       " are defined");
    return out;
}

std::optional<bool> JsonFields::flag(const char* key) const {
    const JsonNode* node = find(key);
    if (!node) return std::nullopt;
    if (node->kind != JsonNode::Kind::boolean)
        fault(key, "is neither true nor false: " + seen(*node));
    return node->truth;
}

std::string JsonFields::text(const char* key) const {
    const JsonNode* node = find(key);
    if (!node) return {};
    if (node->kind != JsonNode::Kind::text) fault(key, "is not text: " + seen(*node));
    return std::string(node->text);
}

}  // namespace plateloom::io
