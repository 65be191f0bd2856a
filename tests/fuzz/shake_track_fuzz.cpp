#include "io/shake_track.h"
#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(shake_track) {
    using namespace plateloom;
    std::vector<io::ShakeSample> samples;
    try {
        std::string set;
        samples = io::readShakeTrack(fuzz::fileOf(bytes, "shake.jsonl"), &set);
    } catch (const io::InputError&) {
        return;
    }
    const auto copy = fuzz::fileOf("", "copy.jsonl");
    io::writeShakeTrack(copy, samples, std::nullopt);
    const auto again = io::readShakeTrack(copy);
    fuzz::holds(again.size() == samples.size(), "a track that was written can be read");
    for (size_t i = 0; i < samples.size(); ++i)
        fuzz::holds(again[i].frame == samples[i].frame, "and has the same frames");
}
