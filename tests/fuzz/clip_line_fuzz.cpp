// What a line of a solve says of a clip, by itself.
#include <nlohmann/json.hpp>

#include "io/json_samples.h"
#include "io/solved_clip.h"
#include "tests/fuzz/fuzz_target.h"

namespace {

std::optional<plateloom::io::SolvedClip> clipOf(std::string_view text) {
    static const std::filesystem::path path = "solve.jsonl";
    plateloom::io::JsonSamples samples(text, path);
    if (!samples.next()) return std::nullopt;
    return plateloom::io::readSolvedClip(samples.fields());
}

}  // namespace

PLATELOOM_FUZZ_TARGET(clip_line) {
    using namespace plateloom;
    std::optional<io::SolvedClip> clip;
    try {
        clip = clipOf(bytes);
    } catch (const io::InputError&) {
        return;
    }
    if (!clip) return;
    const auto json = io::clipJson(*clip);
    const std::string text =
        json.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
    const auto again = clipOf(text);
    fuzz::holds(again && again->first == clip->first && again->last == clip->last,
                "a clip's line that was written has the same frames");
    fuzz::holds(again->gains.size() == clip->gains.size(), "and the same gains");
    fuzz::holds(again->seams == clip->seams, "and the same seams");
}
