#include "tests/fuzz/lens_track_reading.h"

PLATELOOM_FUZZ_TARGET(lens_track_json) {
    plateloom::fuzz::readTrack(bytes, "track.jsonl");
}
