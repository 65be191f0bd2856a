// An OpenEXR file as a plate.
#include "tests/fuzz/picture_header.h"

PLATELOOM_FUZZ_TARGET(exr_header) {
    plateloom::fuzz::readHeader(plateloom::fuzz::fileOf(bytes, "plate.exr"));
}
