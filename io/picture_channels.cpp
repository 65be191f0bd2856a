#include "io/picture_channels.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "io/file_name.h"
#include "io/input_error.h"

namespace plateloom::io {

namespace {

using Names = std::vector<std::string>;

// The colour channels found under one layer's name; -1 where there is none.
struct Layer {
    std::array<int, 4> rgba{-1, -1, -1, -1};
    int luminance = -1;

    [[nodiscard]] bool hasColour() const { return rgba[0] >= 0 && rgba[1] >= 0 && rgba[2] >= 0; }
};

// "beauty.R" belongs to layer "beauty", "R" to the layer without a name.
std::map<std::string, Layer> layersOf(const Names& channels) {
    std::map<std::string, Layer> layers;
    for (int i = 0; i < int(channels.size()); ++i) {
        const size_t dot = channels[i].rfind('.');
        const std::string layer = dot == std::string::npos ? "" : channels[i].substr(0, dot);
        const std::string name =
            lowered(dot == std::string::npos ? channels[i] : channels[i].substr(dot + 1));
        Layer& found = layers[layer];
        if (name == "r" || name == "red") found.rgba[0] = i;
        if (name == "g" || name == "green") found.rgba[1] = i;
        if (name == "b" || name == "blue") found.rgba[2] = i;
        if (name == "a" || name == "alpha") found.rgba[3] = i;
        if (name == "y" || name == "luminance") found.luminance = i;
    }
    return layers;
}

// Layers that hold the whole picture, by the names that they commonly have (common practice).
constexpr std::array<const char*, 7> kMainLayers{"rgba", "rgb",   "beauty", "combined",
                                                 "main", "plate", "colour"};

struct Candidate {
    int part;
    std::string layer;
    std::array<int, 4> channel;
};

bool isMainLayer(const std::string& layer) {
    const std::string last = lowered(layer.substr(layer.rfind('.') + 1));
    return std::find(kMainLayers.begin(), kMainLayers.end(), last) != kMainLayers.end();
}

Candidate theOneLayer(const std::filesystem::path& path, const std::vector<Candidate>& candidates) {
    if (candidates.size() == 1) return candidates.front();
    for (const Candidate& candidate : candidates) {
        if (isMainLayer(candidate.layer)) return candidate;
    }
    std::string names;
    for (const Candidate& candidate : candidates) {
        names += (names.empty() ? "" : ", ") + candidate.layer;
    }
    throw InputError(path.string(), "holds several layers (" + names +
                                        ") and none of them is plain R, G, B: write the plate's "
                                        "picture as R, G, B");
}

std::array<int, 4> grey(int luminance, int alpha) {
    return {luminance, luminance, luminance, alpha};
}

// Files other than EXR: the order is the format's own.
std::array<int, 4> byNumber(int count) {
    if (count <= 2) return grey(0, count == 2 ? 1 : -1);
    return {0, 1, 2, count >= 4 ? 3 : -1};
}

std::string listed(const Names& names) {
    constexpr size_t kShown = 8;
    std::string text;
    for (size_t i = 0; i < std::min(names.size(), kShown); ++i) {
        text += (i ? ", " : "") + names[i];
    }
    return names.size() > kShown ? text + ", ..." : text;
}

}  // namespace

ChosenChannels chooseChannels(const std::filesystem::path& path, OIIO::ImageInput& input,
                              FileKind kind) {
    if (kind != FileKind::exr) {
        const int count = input.spec().nchannels;
        if (count < 1) throw InputError(path.string(), "holds no channels, so no picture");
        return {0, byNumber(count)};
    }
    std::vector<Candidate> colour, named_colour, luminance;
    Names all;
    bool deep = false;
    for (int part = 0; input.seek_subimage(part, 0); ++part) {
        const OIIO::ImageSpec spec = input.spec(part);
        all.insert(all.end(), spec.channelnames.begin(), spec.channelnames.end());
        deep = deep || spec.deep;
        if (spec.deep) continue;
        const auto layers = layersOf(spec.channelnames);
        for (const auto& [name, layer] : layers) {
            if (layer.hasColour()) {
                (name.empty() ? colour : named_colour).push_back({part, name, layer.rgba});
            } else if (layer.luminance >= 0) {
                luminance.push_back({part, name, grey(layer.luminance, layer.rgba[3])});
            } else if (spec.nchannels == 1) {
                luminance.push_back({part, name, grey(0, -1)});
            }
        }
    }
    // Several parts with plain R, G, B are views or passes: the first is the main one by custom.
    if (!colour.empty()) return {colour.front().part, colour.front().channel};
    for (const auto& candidates : {named_colour, luminance}) {
        if (candidates.empty()) continue;
        const Candidate chosen = theOneLayer(path, candidates);
        return {chosen.part, chosen.channel};
    }
    if (deep) {
        throw InputError(path.string(), "holds deep samples, not a picture: flatten them first");
    }
    throw InputError(path.string(), all.empty() ? "holds no channels, so no picture"
                                                : "has neither R, G, B nor Y among its channels (" +
                                                      listed(all) + ")");
}

}  // namespace plateloom::io
