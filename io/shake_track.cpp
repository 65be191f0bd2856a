#include "io/shake_track.h"

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "io/json_samples.h"
#include "io/lens_track_json.h"
#include "io/made_mark.h"
#include "io/sample_json.h"
#include "io/table.h"

namespace plateloom::io {

namespace {

using Json = nlohmann::ordered_json;
constexpr int64_t kMostFrame = int64_t(1) << 40;

Json sampleJson(const ShakeSample& sample, const std::optional<FrameRate>& rate) {
    Json out;
    out["custom"]["plateloom"] = {{"frame", sample.frame}};
    if (!sample.clip.empty()) out["custom"]["plateloom"]["clip"] = sample.clip;
    out["transforms"] = Json::array({{{"translation", {{"x", 0.0}, {"y", 0.0}, {"z", 0.0}}},
                                      {"rotation",
                                       {{"pan", sample.turn.pan_deg},
                                        {"tilt", sample.turn.tilt_deg},
                                        {"roll", sample.turn.roll_deg}}},
                                      {"id", "Mount"}}});
    if (rate && sample.timecode) {
        out["timing"]["mode"] = "external";
        out["timing"]["sampleRate"] = rateJson(*rate);
        out["timing"]["timecode"] = timecodeJson(*sample.timecode, *rate);
    }
    out["protocol"] = {{"name", "OpenTrackIO"}, {"version", {1, 0, 0}}};
    return out;
}

}  // namespace

std::unique_ptr<NewFile> writeShakeBeside(const std::filesystem::path& path,
                                          const std::vector<ShakeSample>& samples,
                                          const std::optional<FrameRate>& rate,
                                          const std::string& set) {
    std::string text;
    std::vector<std::string> sources;
    for (const auto& sample : samples) {
        const auto known = std::find(sources.begin(), sources.end(), sample.clip);
        const auto number = known - sources.begin() + 1;
        if (known == sources.end()) sources.push_back(sample.clip);
        const std::string source = urnOf("shake " + path.filename().string() + sample.clip);
        Json json = sampleJson(sample, rate);
        json["sampleId"] = urnOf(source + lineOf(json));
        json["sourceId"] = source;
        json["sourceNumber"] = number;
        if (text.empty()) json["custom"]["plateloom"]["made"] = openMark(Made::shake);
        if (text.empty() && !set.empty()) json["custom"]["plateloom"]["set"] = set;
        text += lineOf(json) + "\n";
    }
    auto file = std::make_unique<NewFile>(path);
    file->write(text);
    return file;
}

void writeShakeTrack(const std::filesystem::path& path, const std::vector<ShakeSample>& samples,
                     const std::optional<FrameRate>& rate) {
    writeShakeBeside(path, samples, rate, "")->commit();
}

std::vector<ShakeSample> readShakeTrack(const std::filesystem::path& path, std::string* set) {
    const std::string text = readText(path);
    std::vector<ShakeSample> out;
    std::map<std::string, int64_t> last;  // frame of each source
    JsonSamples samples(text, path);
    while (samples.next()) {
        const JsonFields root = samples.fields();
        const JsonFields own = root.object("custom").object("plateloom");
        if (set && out.empty()) *set = own.text("set");
        ShakeSample sample;
        const auto frame = own.whole("frame", -kMostFrame, kMostFrame);
        if (!frame) own.fault("frame", "is missing");
        sample.frame = *frame;
        sample.clip = own.text("clip");
        const auto [before, first] = last.try_emplace(sample.clip, sample.frame);
        if (!first && sample.frame <= before->second)
            own.fault("frame", "is not after the one before it");
        before->second = sample.frame;
        const ParsedSample parsed = readSample(root);
        if (!parsed.sample.pose) root.fault("transforms", "is missing");
        sample.turn = *parsed.sample.pose;
        sample.timecode = parsed.sample.timecode;
        out.push_back(sample);
    }
    if (out.empty()) throw InputError(path.string(), "holds no samples");
    return out;
}

}  // namespace plateloom::io
