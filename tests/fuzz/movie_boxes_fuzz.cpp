// The boxes of a QuickTime or MP4 file.
#include "io/movie_index.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(movie_boxes) {
    (void)plateloom::io::showsAllFramesCounted(plateloom::fuzz::fileOf(bytes, "movie.mp4"));
}
