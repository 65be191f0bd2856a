#include "io/channel_kind.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <set>
#include <string_view>

namespace plateloom::io {

namespace {

std::string plain(std::string_view text) {
    std::string out;
    for (const char c : text)
        if (std::isalnum(static_cast<unsigned char>(c)) || c == '.')
            out += char(std::tolower(static_cast<unsigned char>(c)));
    return out;
}

// A layer's name without the number that tells it from its likes: "normals2".
std::string_view withoutNumber(std::string_view word) {
    while (!word.empty() && std::isdigit(static_cast<unsigned char>(word.back())))
        word.remove_suffix(1);
    return word;
}

template <size_t N>
bool isOneOf(std::string_view word, const std::array<const char*, N>& words) {
    return std::find(words.begin(), words.end(), withoutNumber(word)) != words.end();
}

// Common practice in naming; what OpenEXR itself defines is Z and ZBack.
constexpr std::array kSurfaces{"z",
                               "zback",
                               "depth",
                               "deptha",
                               "p",
                               "pos",
                               "position",
                               "pworld",
                               "pref",
                               "worldpos",
                               "worldposition",
                               "n",
                               "normal",
                               "normals",
                               "nworld",
                               "uv",
                               "st",
                               "texcoord",
                               "motion",
                               "velocity",
                               "motionvector",
                               "motionvectors",
                               "forward",
                               "backward",
                               "id",
                               "ids",
                               "objectid",
                               "object",
                               "materialid",
                               "instanceid",
                               "primid",
                               "elementid",
                               "disparity"};
constexpr std::array kWeights{"matte",  "mattes",  "mask",    "masks",    "alpha",  "coverage",
                              "weight", "holdout", "opacity", "rgbmatte", "idmatte"};
constexpr std::array kColours{"r", "g", "b", "y", "red", "green", "blue", "luminance"};
constexpr std::array kCoverages{"a", "alpha", "ar", "ag", "ab"};

struct KnownName {
    std::string layer, channel;

    explicit KnownName(const std::string& full_name) {
        const std::string name = plain(full_name);
        const size_t dot = name.rfind('.');
        channel = name.substr(dot == std::string::npos ? 0 : dot + 1);
        if (dot != std::string::npos) layer = name.substr(0, dot);
    }
    /// The innermost layer says what it holds; the ones round it say where it is from.
    [[nodiscard]] std::string innermost() const { return layer.substr(layer.rfind('.') + 1); }
};

ChannelKind kindOf(const KnownName& name) {
    const std::string layer = name.innermost();
    if (layer.starts_with("crypto") || isOneOf(layer, kSurfaces)) return ChannelKind::surface;
    if (isOneOf(name.channel, kCoverages)) return ChannelKind::coverage;
    if (isOneOf(layer, kWeights)) return ChannelKind::mixture;
    if (isOneOf(name.channel, kColours)) return ChannelKind::colour;
    if (isOneOf(name.channel, kSurfaces)) return ChannelKind::surface;
    return ChannelKind::mixture;
}

}  // namespace

std::vector<ChannelKind> kindsOfChannels(const std::vector<std::string>& names,
                                         const std::vector<bool>& whole_numbers) {
    std::map<std::string, std::set<std::string>> layers;
    for (const std::string& full_name : names) {
        const KnownName name(full_name);
        layers[name.layer].insert(name.channel);
    }
    std::vector<ChannelKind> kinds;
    for (size_t i = 0; i < names.size(); ++i) {
        const KnownName name(names[i]);
        const auto& mates = layers[name.layer];
        const bool vector = !name.layer.empty() && mates.contains("x") && mates.contains("y") &&
                            mates.contains("z");
        kinds.push_back(whole_numbers[i] || vector ? ChannelKind::surface : kindOf(name));
    }
    return kinds;
}

}  // namespace plateloom::io
