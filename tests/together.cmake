# Writes OUTPUT, which compiles several tests' SOURCES (separated by commas) as one, so that what they include is read
# once. Each file is included in a namespace of its own: names may be the same in two tests. What they include comes
# before, at the global scope; inside it is skipped, as headers are read once.
string(REPLACE "," ";" sources "${SOURCES}")
set(includes "")
set(bodies "")
set(number 0)
foreach(source ${sources})
  file(STRINGS ${source} lines REGEX "^#include ")
  list(APPEND includes ${lines})
  math(EXPR number "${number} + 1")
  string(APPEND bodies "namespace test_file_${number} {\n#include \"${source}\"\n}\n")
endforeach()
list(REMOVE_DUPLICATES includes)
# Catch last: Ceres brings a CHECK along, and the later one holds.
list(REMOVE_ITEM includes "#include <catch2/catch.hpp>")
list(APPEND includes "#include <catch2/catch.hpp>")
string(REPLACE ";" "\n" includes "${includes}")
file(WRITE ${OUTPUT} "${includes}\n\n${bodies}")
