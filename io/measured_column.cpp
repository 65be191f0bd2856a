#include "io/measured_column.h"

#include <array>
#include <charconv>
#include <cmath>
#include <string_view>

#include "calib/focus.h"
#include "io/file_name.h"
#include "io/input_error.h"

namespace plateloom::io {

namespace {

struct Unit {
    std::string_view name;
    double in_base;  // metres or degrees
    bool angle;
};
constexpr std::array<Unit, 7> kUnits{{{"mm", 0.001, false},
                                      {"cm", 0.01, false},
                                      {"m", 1, false},
                                      {"in", 0.0254, false},
                                      {"ft", 0.3048, false},
                                      {"deg", 1, true},
                                      {"rad", 180.0 / 3.14159265358979323846, true}}};

Unit unitNamed(std::string_view name) {
    for (const Unit& unit : kUnits)
        if (unit.name == name) return unit;
    return {};
}

}  // namespace

MeasuredColumn::MeasuredColumn(const Table& table, const std::string& stem,
                               const std::string& wanted, std::vector<bool>* used)
    : table_(&table) {
    const Unit base = unitNamed(wanted);
    for (const Unit& unit : kUnits) {
        if (unit.angle != base.angle) continue;
        const int column = table.column(stem + "_" + std::string(unit.name));
        if (column < 0) continue;
        if (column_ >= 0)
            throw InputError(table.path().string(), stem + " is given in two columns, " +
                                                        table.columns()[size_t(column_)] + " and " +
                                                        table.columns()[size_t(column)] +
                                                        "; remove one");
        column_ = column;
        // Exactly 1 for the wanted unit itself, so that its values pass unrounded.
        factor_ = unit.name == base.name ? 1.0 : unit.in_base / base.in_base;
        (*used)[size_t(column)] = true;
    }
}

std::optional<double> MeasuredColumn::at(const Table::Row& row) const {
    const auto value = table_->number(row, column_);
    if (!value) return std::nullopt;
    return *value * factor_;
}

std::optional<double> MeasuredColumn::above0At(const Table::Row& row) const {
    const auto value = at(row);
    if (value && *value <= 0)
        throw InputError(table_->where(row, column_),
                         "\"" + table_->text(row, column_) + "\" is not above 0");
    return value;
}

std::optional<double> MeasuredColumn::focusAt(const Table::Row& row) const {
    if (saysInfinity(table_->text(row, column_))) return calib::kFocusAtInfinity_m;
    const auto value = above0At(row);
    return value ? std::optional(calib::focusDistance(*value)) : std::nullopt;
}

bool saysInfinity(const std::string& text) {
    const std::string word = lowered(text);
    return word == "inf" || word == "+inf" || word == "infinity" || word == "\u221e";
}

std::optional<double> metresFrom(const std::string& text) {
    if (saysInfinity(text)) return calib::kFocusAtInfinity_m;
    const char* end = text.data() + text.size();
    double value = 0;
    const auto read = std::from_chars(text.data(), end, value);
    if (read.ec != std::errc() || !std::isfinite(value)) return std::nullopt;
    const char* unit = read.ptr;
    while (unit != end && *unit == ' ') ++unit;
    if (unit == end) return value;
    const Unit named = unitNamed({unit, size_t(end - unit)});
    if (named.name.empty() || named.angle) return std::nullopt;
    return value * named.in_base;
}

int usedColumn(const Table& table, const char* name, std::vector<bool>* used) {
    const int column = table.column(name);
    if (column >= 0) (*used)[size_t(column)] = true;
    return column;
}

std::string ignoredColumns(const Table& table, const std::vector<bool>& used) {
    std::string names;
    for (size_t i = 0; i < used.size(); ++i)
        if (!used[i] && !table.columns()[i].empty())
            names += (names.empty() ? "" : ", ") + table.columns()[i];
    return names.empty() ? "" : table.path().string() + ": columns ignored: " + names;
}

}  // namespace plateloom::io
