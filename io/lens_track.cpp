#include "io/lens_track.h"

#include "io/input_error.h"
#include "io/lens_track_json.h"
#include "io/table.h"

namespace plateloom::io {

namespace {

bool looksLikeJson(std::string_view text) {
    const size_t first = text.find_first_not_of(" \t\r\n");
    return text[first] == '{' || text[first] == '[';
}

// Samples may stand in any order, but a person should hear of it: it often means two takes in one
// file. A step back of half a day or more is midnight.
void warnOfDisorder(LensTrack* track) {
    const LensSample* last = nullptr;
    for (const LensSample& sample : track->samples) {
        if (!sample.timecode) continue;
        const FrameRate rate = sample.frame_rate.value_or(FrameRate{});
        if (last) {
            const int64_t step =
                frameNumber(*sample.timecode, rate) - frameNumber(*last->timecode, rate);
            if (step < 0 && -step < framesInADay(rate, sample.timecode->drop_frame) / 2 &&
                sample.camera == last->camera && sample.clip == last->clip) {
                track->warnings.push_back(whereIs(*track, sample) + ": samples are out of order: " +
                                          toString(*sample.timecode) + " comes after " +
                                          toString(*last->timecode));
                return;
            }
        }
        last = &sample;
    }
}

}  // namespace

LensTrack readLensTrack(const std::filesystem::path& path) {
    const std::string text = readText(path);
    const auto extension = path.extension();
    const bool json = looksLikeJson(text) || extension == ".json" || extension == ".jsonl";
    LensTrack track = json ? readLensTrackJson(path, text) : readLensTrackCsv(path, text);
    if (track.samples.empty()) throw InputError(path.string(), "holds no lens samples");
    for (size_t i = 0; i < track.samples.size(); ++i) track.samples[i].number = int(i) + 1;
    warnOfDisorder(&track);
    return track;
}

std::string whereIs(const LensTrack& track, const LensSample& sample) {
    return track.path.string() + ":" + std::to_string(sample.line) + " (sample " +
           std::to_string(sample.number) + ")";
}

}  // namespace plateloom::io
