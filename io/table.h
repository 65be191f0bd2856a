// A table of comma-separated values with named columns, as spreadsheets and trackers write it.
//
// The separator is whichever of comma, semicolon and tab the header uses most. A byte-order mark,
// CRLF, quoted cells (with doubled quotes, separators and line ends inside) and lines that begin
// with # are understood. Column names are compared in lower case with everything that is not a
// letter or a digit as one underscore: "Focal (mm)" is focal_mm. A decimal comma is understood
// where the separator is another.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace plateloom::io {

class Table {
public:
    struct Row {
        std::vector<std::string> cells;  ///< trimmed; one a column
        int line = 0;                    ///< where it begins in the file
    };

    /// Throws InputError: a file that can't be read or is empty, a row with more cells than the
    /// header has names, a quote that is not closed, two columns with one name.
    [[nodiscard]] static Table read(const std::filesystem::path& path);
    [[nodiscard]] static Table parse(std::string_view text, const std::filesystem::path& path);

    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    [[nodiscard]] const std::vector<std::string>& columns() const { return columns_; }
    [[nodiscard]] const std::vector<Row>& rows() const { return rows_; }
    /// Index of a column, or -1.
    [[nodiscard]] int column(std::string_view name) const;

    /// The cell's text, "" where the column or the cell is missing.
    [[nodiscard]] const std::string& text(const Row& row, int column) const;
    /// nullopt where the column or the cell is missing. Throws InputError naming line and column
    /// for what is not a finite number.
    [[nodiscard]] std::optional<double> number(const Row& row, int column) const;
    /// "FILE:LINE: column NAME", for a complaint about a cell.
    [[nodiscard]] std::string where(const Row& row, int column) const;

private:
    std::filesystem::path path_;
    std::vector<std::string> columns_;
    std::vector<Row> rows_;
    bool decimal_comma_ = false;  // "24,5": possible where cells are not separated by commas
};

/// The whole file, without a byte-order mark. Throws InputError for one that is missing, a folder,
/// unreadable or empty.
[[nodiscard]] std::string readText(const std::filesystem::path& path);

}  // namespace plateloom::io
