#include "io/json_samples.h"

#include <algorithm>
#include <cmath>

#include "io/input_error.h"

namespace plateloom::io {

namespace {

bool isBlank(char c) {
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

std::string whereIs(const std::filesystem::path& path, int line) {
    return path.string() + ":" + std::to_string(line);
}

int linesIn(std::string_view text) {
    return int(std::count(text.begin(), text.end(), '\n'));
}

// What stands at `at`, for a person to recognize it by.
std::string excerpt(std::string_view text, size_t at) {
    constexpr size_t kBefore = 20, kAfter = 12;
    size_t first = at > kBefore ? at - kBefore : 0;
    for (size_t i = first; i < at; ++i)
        if (text[i] == '\n') first = i + 1;
    const size_t last = std::min({text.size(), at + kAfter, text.find('\n', at)});
    std::string out(text.substr(first, last - first));
    std::erase_if(out, [](char c) { return static_cast<unsigned char>(c) < 32; });
    return out;
}

// One past the object's closing bracket, or npos. Counts the lines passed.
size_t endOfObject(std::string_view text, size_t at, int* lines) {
    int depth = 0;
    for (bool quoted = false; at < text.size(); ++at) {
        const char c = text[at];
        if (c == '\n') ++*lines;
        if (quoted) {
            if (c == '\\')
                ++at;
            else if (c == '"')
                quoted = false;
        } else if (c == '"') {
            quoted = true;
        } else if (c == '{' || c == '[') {
            ++depth;
        } else if (c == '}' || c == ']') {
            if (--depth == 0) return at + 1;
        }
    }
    return std::string_view::npos;
}

}  // namespace

std::string whereIs(const std::filesystem::path& path, int line, int number) {
    return whereIs(path, line) + " (sample " + std::to_string(number) + ")";
}

std::vector<JsonSample> splitSamples(std::string_view text, const std::filesystem::path& path) {
    std::vector<JsonSample> samples;
    int line = 1;
    bool in_array = false, array_closed = false, comma = false;
    const auto refuse = [&](const std::string& what) {
        throw InputError(whereIs(path, line), what);
    };

    for (size_t at = 0; at < text.size();) {
        const char c = text[at];
        if (isBlank(c)) {
            line += c == '\n';
            ++at;
        } else if (c == '{' && !array_closed) {
            if (in_array && !samples.empty() && !comma)
                refuse("a comma is missing between two samples");
            int lines = 0;
            const size_t end = endOfObject(text, at, &lines);
            if (end == std::string_view::npos) {
                // Parsed for the sake of its complaint, which names the place more closely.
                const int number = int(samples.size()) + 1;
                (void)parseSample({text.substr(at), line, number}, path);
                refuse("the sample that begins here is not closed");
            }
            samples.push_back({text.substr(at, end - at), line, int(samples.size()) + 1});
            line += lines;
            at = end;
            comma = false;
        } else if (c == '[' && samples.empty() && !in_array) {
            in_array = true;
            ++at;
        } else if (c == ',' && !samples.empty() && !comma && !array_closed) {
            comma = true;
            ++at;
        } else if (c == ']' && in_array && !array_closed) {
            array_closed = true;
            ++at;
        } else {
            refuse("expected a sample, found \"" + excerpt(text.substr(at), 0) +
                   "\"; a lens track is an array of samples or one sample a line");
        }
    }
    if (in_array && !array_closed)
        refuse("the array of samples is not closed; the file is cut off");
    return samples;
}

nlohmann::json parseSample(const JsonSample& sample, const std::filesystem::path& path) {
    try {
        return nlohmann::json::parse(sample.text);
    } catch (const nlohmann::json::parse_error& error) {
        const size_t at = std::min(sample.text.size(), error.byte > 0 ? error.byte - 1 : 0);
        const int line = sample.line + linesIn(sample.text.substr(0, at));
        const std::string where = whereIs(path, line, sample.number);
        if (at + 1 >= sample.text.size())
            throw InputError(where, "the JSON ends too early; the file is cut off");
        const std::string seen = excerpt(sample.text, at);
        const bool not_a_number =
            seen.find("NaN") != std::string::npos || seen.find("nan") != std::string::npos ||
            seen.find("Inf") != std::string::npos || seen.find("inf") != std::string::npos;
        throw InputError(where, "not valid JSON at \"" + seen + "\"" +
                                    (not_a_number ? "; NaN and infinity are not numbers" : ""));
    } catch (const nlohmann::json::out_of_range&) {
        throw InputError(whereIs(path, sample.line, sample.number),
                         "holds a number too large to be one");
    }
}

JsonFields::JsonFields(const nlohmann::json& root, const JsonSample& sample,
                       const std::filesystem::path& path)
    : value_(&root), sample_(&sample), path_(&path) {}

JsonFields::JsonFields(const JsonFields& parent, const nlohmann::json* value, const char* key,
                       int index)
    : value_(value), sample_(parent.sample_), path_(parent.path_), prefix_(parent.prefix_) {
    prefix_ += key;
    if (index >= 0) prefix_.append("[").append(std::to_string(index)).append("]");
    prefix_ += '.';
}

const nlohmann::json* JsonFields::find(const char* key) const {
    if (!value_) return nullptr;
    const auto found = value_->find(key);
    return found == value_->end() ? nullptr : &*found;
}

void JsonFields::fault(const char* key, const std::string& what) const {
    throw InputError(whereIs(*path_, sample_->line, sample_->number) + ": " + prefix_ + key, what);
}

JsonFields JsonFields::object(const char* key) const {
    const auto* value = find(key);
    if (value && !value->is_object())
        fault(key, "is not an object: " + value->dump().substr(0, 40));
    return {*this, value, key, -1};
}

JsonFields JsonFields::objectIfAny(const char* key) const {
    const auto* value = find(key);
    return {*this, value && value->is_object() ? value : nullptr, key, -1};
}

std::vector<JsonFields> JsonFields::objects(const char* key) const {
    const auto* value = find(key);
    std::vector<JsonFields> out;
    if (!value) return out;
    if (value->is_object()) return {object(key)};
    if (!value->is_array()) fault(key, "is not an array: " + value->dump().substr(0, 40));
    for (const auto& element : *value) {
        if (!element.is_object()) fault(key, "holds something that is not an object");
        out.push_back(JsonFields(*this, &element, key, int(out.size())));
    }
    return out;
}

std::optional<double> JsonFields::number(const char* key) const {
    const auto* value = find(key);
    if (!value) return std::nullopt;
    if (!value->is_number()) fault(key, "is not a number: " + value->dump().substr(0, 40));
    const double number = value->get<double>();
    if (!std::isfinite(number)) fault(key, "is not a finite number");
    return number;
}

std::optional<int64_t> JsonFields::whole(const char* key, int64_t least, int64_t most) const {
    const auto value = number(key);
    if (!value) return std::nullopt;
    if (*value != std::floor(*value) || *value < double(least) || *value > double(most))
        fault(key, "is not a whole number from " + std::to_string(least) + " to " +
                       std::to_string(most) + ": " + find(key)->dump().substr(0, 40));
    return int64_t(*value);
}

std::vector<double> JsonFields::numbers(const char* key, size_t most) const {
    const auto* value = find(key);
    std::vector<double> out;
    if (!value) return out;
    if (!value->is_array()) fault(key, "is not an array of numbers");
    for (const auto& element : *value) {
        if (!element.is_number() || !std::isfinite(element.get<double>()))
            fault(key, "holds something that is not a number: " + element.dump().substr(0, 40));
        out.push_back(element.get<double>());
    }
    if (out.size() > most)
        fault(key, "has " + std::to_string(out.size()) + " terms; at most " + std::to_string(most) +
                       " are defined");
    return out;
}

std::optional<bool> JsonFields::flag(const char* key) const {
    const auto* value = find(key);
    if (!value) return std::nullopt;
    if (!value->is_boolean()) fault(key, "is neither true nor false");
    return value->get<bool>();
}

std::string JsonFields::text(const char* key) const {
    const auto* value = find(key);
    if (!value) return {};
    if (!value->is_string()) fault(key, "is not text: " + value->dump().substr(0, 40));
    return value->get<std::string>();
}

}  // namespace plateloom::io
