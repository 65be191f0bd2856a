#include "io/table.h"

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>
#include <fstream>

#include "io/input_error.h"

namespace plateloom::io {

namespace {

std::string normalized(std::string_view name) {
    std::string out;
    for (const char c : name) {
        const bool kept = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z');
        const bool upper = c >= 'A' && c <= 'Z';
        if (kept || upper) {
            out += upper ? char(c - 'A' + 'a') : c;
        } else if (!out.empty() && out.back() != '_') {
            out += '_';
        }
    }
    while (!out.empty() && out.back() == '_') out.pop_back();
    return out;
}

std::string_view trimmed(std::string_view text) {
    const char* blank = " \t\r\n\f\v";
    const size_t first = text.find_first_not_of(blank);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(blank) - first + 1);
}

char separatorOf(std::string_view header) {
    char best = ',';
    long most = 0;
    for (const char c : {',', ';', '\t'}) {
        const long count = std::count(header.begin(), header.end(), c);
        if (count > most) {
            most = count;
            best = c;
        }
    }
    return best;
}

// Reads rows one after the other and keeps count of lines.
class RowReader {
public:
    RowReader(std::string_view text, const std::filesystem::path& path)
        : text_(text), path_(path), separator_(',') {}

    // Skips blank lines and comments; false at the end.
    bool next(Table::Row* row) {
        while (at_ < text_.size()) {
            const size_t end = std::min(text_.find('\n', at_), text_.size());
            const std::string_view line = trimmed(text_.substr(at_, end - at_));
            if (!line.empty() && line.front() != '#') {
                if (!header_seen_) separator_ = separatorOf(line);
                header_seen_ = true;
                readRow(row);
                return true;
            }
            at_ = std::min(end + 1, text_.size());
            ++line_;
        }
        return false;
    }

    [[nodiscard]] char separator() const { return separator_; }

private:
    void readRow(Table::Row* row) {
        row->cells.clear();
        row->line = line_;
        for (bool more = true; more;) {
            row->cells.emplace_back();
            more = readCell(&row->cells.back());
        }
    }

    // True when another cell follows in this row.
    bool readCell(std::string* cell) {
        while (at_ < text_.size() &&
               (text_[at_] == ' ' || (text_[at_] == '\t' && separator_ != '\t')))
            ++at_;
        if (at_ < text_.size() && text_[at_] == '"') {
            readQuoted(cell);
        } else {
            size_t end = at_;
            while (end < text_.size() && text_[end] != separator_ && text_[end] != '\n') ++end;
            *cell = trimmed(text_.substr(at_, end - at_));
            at_ = end;
        }
        if (at_ >= text_.size()) return false;
        const bool more = text_[at_] == separator_;
        if (!more) ++line_;
        ++at_;
        return more;
    }

    void readQuoted(std::string* cell) {
        const int opened = line_;
        for (++at_;; ++at_) {
            if (at_ >= text_.size())
                throw InputError(path_.string() + ":" + std::to_string(opened),
                                 "a quoted cell is not closed; add the missing \"");
            if (text_[at_] == '"') {
                if (at_ + 1 >= text_.size() || text_[at_ + 1] != '"') break;
                ++at_;
            }
            if (text_[at_] == '\n') ++line_;
            *cell += text_[at_];
        }
        ++at_;
        *cell = std::string(trimmed(*cell));
        const size_t end =
            std::min(text_.find_first_of(std::string{separator_, '\n'}, at_), text_.size());
        if (!trimmed(text_.substr(at_, end - at_)).empty())
            throw InputError(path_.string() + ":" + std::to_string(line_),
                             "text follows a closing quote; double the quotes inside a quoted cell "
                             "(\"\") or remove them");
        at_ = end;
    }

    std::string_view text_;
    const std::filesystem::path& path_;
    char separator_;
    size_t at_ = 0;
    int line_ = 1;
    bool header_seen_ = false;
};

}  // namespace

std::string readText(const std::filesystem::path& path) {
    std::error_code error;
    if (std::filesystem::is_directory(path, error))
        throw InputError(path.string(), "is a folder; name a file");
    // Files are read more than once, and a pipe can be read once only.
    if (std::filesystem::exists(path, error) && !std::filesystem::is_regular_file(path, error))
        throw InputError(path.string(), "is a pipe or a device; write it to a file and name that");
    std::ifstream file(path, std::ios::binary | std::ios::ate);
    if (!file && errno == ENOMEM) throw RoomError(path.string(), "there is not enough memory");
    if (!file) throw InputError(path.string(), std::string("can't be read: ") + strerror(errno));
    std::string text(size_t(std::max<std::streamoff>(file.tellg(), 0)), '\0');
    file.seekg(0);
    file.read(text.data(), std::streamsize(text.size()));
    if (!file) throw InputError(path.string(), "can't be read to its end");
    if (text.starts_with("\xEF\xBB\xBF")) text.erase(0, 3);
    if (trimmed(text).empty()) throw InputError(path.string(), "the file is empty");
    return text;
}

Table Table::read(const std::filesystem::path& path) {
    return parse(readText(path), path);
}

Table Table::parse(std::string_view text, const std::filesystem::path& path) {
    Table table;
    table.path_ = path;
    RowReader reader(text, path);
    Row row;
    if (!reader.next(&row)) throw InputError(path.string(), "has no header line with column names");
    table.decimal_comma_ = reader.separator() != ',';
    for (const std::string& name : row.cells) {
        table.columns_.push_back(normalized(name));
        const auto last = table.columns_.end() - 1;
        if (!last->empty() && std::find(table.columns_.begin(), last, *last) != last)
            throw InputError(path.string() + ":" + std::to_string(row.line),
                             "two columns are called " + *last + "; rename or remove one");
    }
    while (reader.next(&row)) {
        while (row.cells.size() > table.columns_.size() && row.cells.back().empty())
            row.cells.pop_back();
        if (row.cells.size() > table.columns_.size())
            throw InputError(path.string() + ":" + std::to_string(row.line),
                             "has " + std::to_string(row.cells.size()) +
                                 " cells, but the header names " +
                                 std::to_string(table.columns_.size()) + " columns");
        row.cells.resize(table.columns_.size());
        table.rows_.push_back(std::move(row));
    }
    return table;
}

int Table::column(std::string_view name) const {
    const auto found = std::find(columns_.begin(), columns_.end(), name);
    return found == columns_.end() ? -1 : int(found - columns_.begin());
}

const std::string& Table::text(const Row& row, int column) const {
    static const std::string nothing;
    return column < 0 ? nothing : row.cells[size_t(column)];
}

std::optional<double> Table::number(const Row& row, int column) const {
    const std::string& cell = text(row, column);
    if (cell.empty()) return std::nullopt;
    std::string digits = cell.front() == '+' ? cell.substr(1) : cell;
    if (decimal_comma_ && digits.find('.') == std::string::npos)
        std::replace(digits.begin(), digits.end(), ',', '.');
    double value = 0;
    const char* begin = digits.data();
    const char* end = begin + digits.size();
    const auto [stop, error] = std::from_chars(begin, end, value);
    if (error != std::errc() || stop != end || !std::isfinite(value))
        throw InputError(where(row, column),
                         "\"" + cell.substr(0, 40) + "\" is not a finite number");
    return value;
}

std::string Table::where(const Row& row, int column) const {
    return path_.string() + ":" + std::to_string(row.line) + ": column " + columns_[size_t(column)];
}

}  // namespace plateloom::io
