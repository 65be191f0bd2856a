// A table's column that holds a length or an angle, in whichever unit its name says.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "io/table.h"

namespace plateloom::io {

class MeasuredColumn {
public:
    /// The column `stem`_UNIT of `table`, for UNIT mm, cm, m, in, ft (lengths) or deg, rad
    /// (angles); values come in the unit of `wanted`, e.g. ("focus", "m"). `used` is marked. Throws
    /// InputError when two columns give the same quantity.
    MeasuredColumn(const Table& table, const std::string& stem, const std::string& wanted,
                   std::vector<bool>* used);

    [[nodiscard]] std::optional<double> at(const Table::Row& row) const;
    /// Throws InputError for a value that is not above 0.
    [[nodiscard]] std::optional<double> above0At(const Table::Row& row) const;
    /// A focus distance, in metres if they are wanted; infinity as calib/focus.h has it.
    [[nodiscard]] std::optional<double> focusAt(const Table::Row& row) const;
    [[nodiscard]] bool isThere() const { return column_ >= 0; }

private:
    const Table* table_;
    int column_ = -1;
    double factor_ = 1;
};

/// How people write that a lens is focused at infinity: "inf", "infinity" in any case, the sign.
[[nodiscard]] bool saysInfinity(const std::string& text);

/// "12.5", "12.5 ft", "30in": a number and a unit of length that columns may have, metres when it
/// has none. Infinity as calib/focus.h has it. Nothing for other text.
[[nodiscard]] std::optional<double> metresFrom(const std::string& text);

/// Index of the column without a unit, marked as used; -1 when there is none.
[[nodiscard]] int usedColumn(const Table& table, const char* name, std::vector<bool>* used);

/// "columns ignored: a, b", or "" when every named column was used.
[[nodiscard]] std::string ignoredColumns(const Table& table, const std::vector<bool>& used);

}  // namespace plateloom::io
