#include "tests/fuzz/lens_track_reading.h"

PLATELOOM_FUZZ_TARGET(lens_track_csv) {
    plateloom::fuzz::readTrack(bytes, "track.csv");
}
