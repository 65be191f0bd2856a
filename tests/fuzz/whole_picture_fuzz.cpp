// Whether a PNG, a DPX or the header of an EXR is whole.
#include "io/file_completeness.h"
#include "io/picture_source.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(whole_picture) {
    using namespace plateloom;
    const auto path = fuzz::fileOf(bytes, "picture.bin");
    for (const auto kind : {io::FileKind::png, io::FileKind::dpx, io::FileKind::exr})
        fuzz::allowRefusal([&] { io::checkComplete(path, kind); });
}
