#include "io/colour.h"

#include <OpenColorIO/OpenColorIO.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <mutex>
#include <optional>

#include "io/input_error.h"
#include "io/transfer_curves.h"

namespace OCIO = OCIO_NAMESPACE;

namespace plateloom::io {

struct Linearization::Processor {
    OCIO::ConstCPUProcessorRcPtr cpu;
};

namespace {

// The configuration that $OCIO names, read once for each name; null when $OCIO is not set.
OCIO::ConstConfigRcPtr configuration() {
    static std::mutex guard;
    static std::string read_from;
    static OCIO::ConstConfigRcPtr config;
    const char* path = std::getenv("OCIO");
    if (!path || !*path) return nullptr;
    const std::lock_guard lock(guard);
    if (config && read_from == path) return config;
    try {
        config = OCIO::Config::CreateFromFile(path);
    } catch (const OCIO::Exception&) {
        config = nullptr;
        throw InputError(path,
                         "$OCIO names this colour configuration, but it can't be read: correct "
                         "$OCIO, or unset it to use the built-in curves");
    }
    read_from = path;
    return config;
}

// Null when the configuration does not know the name, or has no scene_linear to go to.
OCIO::ConstCPUProcessorRcPtr processorFrom(const OCIO::ConstConfigRcPtr& config,
                                           const std::string& colour_space) {
    if (!config->getColorSpace(colour_space.c_str()) ||
        !config->getColorSpace(OCIO::ROLE_SCENE_LINEAR)) {
        return nullptr;
    }
    try {
        return config->getProcessor(colour_space.c_str(), OCIO::ROLE_SCENE_LINEAR)
            ->getDefaultCPUProcessor();
    } catch (const OCIO::Exception&) {
        throw InputError(colour_space,
                         "the colour configuration that $OCIO names can't turn this colour space "
                         "into scene_linear: check that its tables are all there");
    }
}

// x and y of what a colour space calls red, green, blue and white, by way of a role of which both
// are known. Nothing where the space is not linear light, or the configuration has no such role.
std::optional<Chromaticities> measuredPrimaries(const OCIO::ConstConfigRcPtr& config,
                                                const char* colour_space) {
    const bool to_xyz = config->hasRole("cie_xyz_d65_interchange");
    if (!to_xyz && !config->hasRole("aces_interchange")) return std::nullopt;
    OCIO::ConstCPUProcessorRcPtr cpu;
    try {
        cpu = config
                  ->getProcessor(colour_space,
                                 to_xyz ? "cie_xyz_d65_interchange" : "aces_interchange")
                  ->getDefaultCPUProcessor();
    } catch (const OCIO::Exception&) {
        return std::nullopt;
    }
    const calib::Matrix3d xyz_from_role =
        to_xyz ? calib::Matrix3d(calib::Matrix3d::Identity()) : *xyzFromRgb(primaries::kAp0);
    const auto xyzOf = [&](float r, float g, float b) {
        float rgb[3] = {r, g, b};
        cpu->applyRGB(rgb);
        return calib::Vector3d(xyz_from_role * calib::Vector3d(rgb[0], rgb[1], rgb[2]));
    };
    const calib::Vector3d white = xyzOf(1, 1, 1), half = xyzOf(0.5f, 0.5f, 0.5f);
    if ((white - 2 * half).norm() > 1e-4 * white.norm()) return std::nullopt;
    Chromaticities out;
    for (const auto& xyz : {xyzOf(1, 0, 0), xyzOf(0, 1, 0), xyzOf(0, 0, 1), white}) {
        if (!(xyz.sum() > 0)) return std::nullopt;
        out.push_back(float(xyz.x() / xyz.sum()));
        out.push_back(float(xyz.y() / xyz.sum()));
    }
    return out;
}

std::optional<Chromaticities> primariesIn(const OCIO::ConstConfigRcPtr& config,
                                          const char* colour_space) {
    const auto space = config->getColorSpace(colour_space);
    if (!space) return std::nullopt;
    const auto known = knownSpace(space->getName());
    if (known && known->primaries) return *known->primaries;
    return measuredPrimaries(config, colour_space);
}

bool isPlainLinear(const std::string& colour_space) {
    return colour_space == "scene_linear" || colour_space == "Linear";
}

std::string unknownSpace(const OCIO::ConstConfigRcPtr& config) {
    std::string some = "scene_linear, sRGB, Rec.709, ACEScg, ACEScct, ACEScc";
    constexpr int kShown = 6;
    if (config) {
        for (int i = 0; i < std::min(config->getNumColorSpaces(), kShown); ++i) {
            some += std::string(", ") + config->getColorSpaceNameByIndex(i);
        }
    }
    return "this colour space is not known: use one of " + some +
           (config ? "" : ", or set $OCIO to a colour configuration that knows it");
}

}  // namespace

Linearization::Linearization(const std::string& colour_space) {
    const auto known = knownSpace(colour_space);
    // "scene_linear" is what is wanted, whatever the configuration makes of it.
    if (isPlainLinear(colour_space)) return;
    const OCIO::ConstConfigRcPtr config = configuration();
    if (config) {
        if (const auto cpu = processorFrom(config, colour_space)) {
            if (!cpu->isNoOp()) processor_ = std::make_shared<Processor>(Processor{cpu});
            return;
        }
    }
    if (!known) throw InputError(colour_space, unknownSpace(config));
    curve_ = known->curve;
}

void Linearization::apply(float* pixels, size_t count, int channels) const {
    const int colours = std::min(channels, 3);
    if (processor_ && channels >= 3) {
        OCIO::PackedImageDesc image(pixels, long(count), 1, 3, OCIO::BIT_DEPTH_F32, sizeof(float),
                                    ptrdiff_t(channels) * ptrdiff_t(sizeof(float)),
                                    ptrdiff_t(count) * channels * ptrdiff_t(sizeof(float)));
        processor_->cpu->apply(image);
    } else if (processor_) {
        for (size_t i = 0; i < count; ++i) {
            const float grey = pixels[i * channels];
            float rgb[3] = {grey, grey, grey};
            processor_->cpu->applyRGB(rgb);
            pixels[i * channels] = rgb[1];
        }
    } else if (curve_) {
        for (size_t i = 0; i < count; ++i) {
            for (int c = 0; c < colours; ++c) {
                pixels[i * channels + c] = curve_(pixels[i * channels + c]);
            }
        }
    }
}

void linearize(float* pixels, size_t count, int channels, const std::string& colour_space) {
    Linearization(colour_space).apply(pixels, count, channels);
}

LinearPrimaries linearPrimaries(const std::string& colour_space) {
    if (isPlainLinear(colour_space)) return {};
    const auto known = knownSpace(colour_space);
    if (const auto config = configuration()) {
        if (const auto cpu = processorFrom(config, colour_space)) {
            const auto role = primariesIn(config, OCIO::ROLE_SCENE_LINEAR);
            if (role) return {LinearPrimaries::known, *role, true};
            if (!cpu->isNoOp()) return {LinearPrimaries::unknown, {}, true};
        }
    }
    if (known && known->primaries) return {LinearPrimaries::known, *known->primaries, false};
    return {};
}

Chromaticities primariesOfSpace(const std::string& colour_space) {
    const auto known = knownSpace(colour_space);
    if (known && known->primaries) return *known->primaries;
    const auto config = configuration();
    if (config)
        if (const auto there = primariesIn(config, colour_space.c_str())) return *there;
    throw InputError(colour_space,
                     std::string("the primaries of this colour space are not known: use one of "
                                 "lin_rec709, lin_rec2020, lin_p3d65, ACEScg, ACES2065-1") +
                         (config ? "" : ", or set $OCIO to a colour configuration that knows it"));
}

std::string conversionDigest(const std::string& colour_space) {
    if (isPlainLinear(colour_space)) return {};
    const auto config = configuration();
    if (!config || !processorFrom(config, colour_space)) return {};
    static std::mutex guard;
    static std::map<std::string, std::string> digests;  // a configuration is read once
    const std::lock_guard lock(guard);
    auto& digest = digests[std::getenv("OCIO") + (":" + colour_space)];
    // The tables' own contents are in it, not their files' names or times.
    if (digest.empty())
        digest = config->getProcessor(colour_space.c_str(), OCIO::ROLE_SCENE_LINEAR)->getCacheID();
    return digest;
}

float linearWhite(const std::string& colour_space) {
    float white[3] = {1, 1, 1};
    linearize(white, 1, 3, colour_space);
    return *std::max_element(white, white + 3);
}

float displayFromLinear(float value, float exposure) {
    constexpr float kShoulder = 0.8f, kRoom = 1.0f - kShoulder;
    float shown = value * exposure;
    if (!(shown > 0)) return 0;
    // The slope at the shoulder is 1 on both sides; the rest of the light shares what room is left.
    if (shown > kShoulder) shown = 1.0f - kRoom * std::exp((kShoulder - shown) / kRoom);
    return std::min(srgbFromLinear(shown), 1.0f);
}

}  // namespace plateloom::io
