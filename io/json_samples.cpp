#include "io/json_samples.h"

#include <algorithm>

#include "io/input_error.h"

namespace plateloom::io {

namespace {

bool isBlank(char c) {
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

// What stands at `at`, with a little of its line before and after.
std::string excerpt(std::string_view text, size_t at) {
    constexpr size_t kBefore = 20, kAfter = 12;
    const size_t line_end = std::min(text.find('\n', at), text.size());
    const size_t line_begin = at == 0 ? 0 : text.rfind('\n', at - 1) + 1;  // npos + 1 is 0
    const size_t first = std::max(line_begin, at > kBefore ? at - kBefore : 0);
    std::string out(text.substr(first, std::min(line_end, at + kAfter) - first));
    std::erase_if(out, [](char c) { return static_cast<unsigned char>(c) < 32; });
    return out;
}

bool saysNotANumber(const std::string& excerpt) {
    for (const char* word : {"NaN", "nan", "Inf", "inf"})
        if (excerpt.find(word) != std::string::npos) return true;
    return false;
}

}  // namespace

void JsonSamples::advanceTo(size_t at) {
    const std::string_view passed = text_.substr(at_, at - at_);
    line_ += int(std::count(passed.begin(), passed.end(), '\n'));
    at_ = at;
}

void JsonSamples::refuse(size_t at, const std::string& what) const {
    const std::string_view between = text_.substr(at_, at - at_);
    const auto line = line_ + std::count(between.begin(), between.end(), '\n');
    throw InputError(path_.string() + ":" + std::to_string(line), what);
}

bool JsonSamples::next() {
    for (; at_ < text_.size(); ++at_) {
        const char c = text_[at_];
        if (c == '{' && array_ != Array::closed) {
            if (array_ == Array::open && !comma_)
                refuse(at_, "a comma is missing between two samples");
            break;
        }
        if (isBlank(c)) {
            line_ += c == '\n';
        } else if (c == '[' && place_.number == 0 && array_ == Array::none) {
            array_ = Array::open;
        } else if (c == ',' && !comma_ && array_ != Array::closed) {
            comma_ = true;
        } else if (c == ']' && array_ == Array::open) {
            array_ = Array::closed;
        } else {
            refuse(at_, "a sample is expected at \"" + excerpt(text_, at_) +
                            "\"; a lens track is an array of samples or one sample a line");
        }
    }
    if (at_ >= text_.size()) {
        if (array_ == Array::open)
            refuse(at_, "the array of samples is not closed; the file is cut off");
        return false;
    }
    place_.at = at_;
    place_.line = line_;
    ++place_.number;
    try {
        advanceTo(tree_.parse(text_, at_));
    } catch (const JsonFault& fault) {
        if (fault.at >= text_.size())
            refuse(place_.at, "the sample that begins here is not closed; the file is cut off");
        const std::string seen = excerpt(text_, fault.at);
        refuse(fault.at, "not valid JSON at \"" + seen + "\": " + fault.what() +
                             (saysNotANumber(seen) ? "; NaN and infinity are not numbers" : ""));
    }
    comma_ = false;
    return true;
}

}  // namespace plateloom::io
