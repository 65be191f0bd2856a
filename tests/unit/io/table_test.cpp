#include "io/table.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"

using namespace plateloom::io;
using Catch::Matchers::Contains;

namespace {
Table parse(const std::string& text) {
    return Table::parse(text, "table.csv");
}
}  // namespace

TEST_CASE("Quoted cells may hold separators, quotes and line ends, and lines are still counted") {
    const Table table = parse("name,value\n\"a, \"\"b\"\"\nc\",1\nd,2\n");
    REQUIRE(table.rows().size() == 2);
    CHECK(table.text(table.rows()[0], 0) == "a, \"b\"\nc");
    CHECK(table.rows()[0].line == 2);
    CHECK(table.rows()[1].line == 4);
}

TEST_CASE("Text after a closing quote is refused, not dropped") {
    CHECK_THROWS_WITH(parse("a,b\n\"1\"2,3\n"), Contains("table.csv:2") && Contains("quote"));
    CHECK_THROWS_WITH(parse("a,b\n1,\"two\nlines\" and more\n"), Contains("table.csv:3"));
    const Table table = parse("a,b\n \"1\" , \"2\"\t\r\n\"3\",\"4\"");
    CHECK(table.number(table.rows()[0], 0) == 1.0);
    CHECK(table.number(table.rows()[0], 1) == 2.0);
    CHECK(table.number(table.rows()[1], 1) == 4.0);
}

TEST_CASE("Short rows have empty cells, long ones are refused unless only separators follow") {
    const Table table = parse("a,b,c\n1\n1,2,3,,\n");
    CHECK_FALSE(table.number(table.rows()[0], 2));
    CHECK(table.number(table.rows()[1], 2) == 3.0);
    CHECK_THROWS_WITH(parse("a,b\n1,2,3\n"), Contains("table.csv:2"));
}

TEST_CASE("Column names are found whatever their case, blanks and brackets") {
    const Table table = parse("  Focal [MM] ;T-Stop;\"Sensor Width (mm)\"\n24,5;2.8;36\n");
    CHECK(table.column("focal_mm") == 0);
    CHECK(table.column("t_stop") == 1);
    CHECK(table.column("sensor_width_mm") == 2);
    CHECK(table.column("focus_m") == -1);
    CHECK(table.number(table.rows()[0], 0) == 24.5);
}

TEST_CASE("A cell that is no finite number is refused with its line and column") {
    for (const char* cell : {"abc", "1.2.3", "nan", "inf", "1e999", "12mm", "--1", "0x10"}) {
        const Table table = parse(std::string("# header follows\nfocal_mm\n") + cell + "\n");
        CHECK_THROWS_WITH(table.number(table.rows()[0], 0),
                          Contains("table.csv:3: column focal_mm") && Contains(cell));
    }
    const Table table = parse("x\n+2.5e1\n");
    CHECK(table.number(table.rows()[0], 0) == 25.0);
}

TEST_CASE("What is no table is refused") {
    CHECK_THROWS_AS(parse("# nothing but a comment\n"), InputError);
    CHECK_THROWS_WITH(parse("a,b\n\"open,1\n"), Contains("table.csv:2"));
    CHECK_THROWS_WITH(parse("a,A\n1,2\n"), Contains("two columns"));
    CHECK_THROWS_AS(readText("/nonexistent/track.csv"), InputError);
    CHECK_THROWS_WITH(readText(std::filesystem::temp_directory_path()), Contains("folder"));
}

TEST_CASE("The last line needs no line end, and old line ends are fine") {
    CHECK(parse("a,b\n1,2").rows().size() == 1);
    const Table table = parse("a\tb\r\n1\t\r\n\r\n\t2\r\n");
    REQUIRE(table.rows().size() == 2);
    CHECK_FALSE(table.number(table.rows()[0], 1));
    CHECK(table.number(table.rows()[1], 1) == 2.0);
}
