#include "io/colour.h"

#include <OpenColorIO/OpenColorIO.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <mutex>

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
    if (colour_space == "scene_linear" || colour_space == "Linear") return;
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
