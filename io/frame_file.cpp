#include "io/frame_file.h"

#include <algorithm>

#include "io/colour.h"
#include "io/frame_attributes.h"
#include "io/input_error.h"
#include "io/picture_source.h"

namespace plateloom::io {

namespace {

SampleType typeOf(const FrameFile& file, const OIIO::ImageSpec& spec, int channel) {
    switch (spec.channelformat(channel).basetype) {
        case OIIO::TypeDesc::HALF:
            return SampleType::half;
        case OIIO::TypeDesc::FLOAT:
            return SampleType::single;
        case OIIO::TypeDesc::UINT32:
            return SampleType::whole;
        default:
            throw InputError(file.path.string(), "its channel " +
                                                     std::string(spec.channel_name(channel)) +
                                                     " has samples of a type that EXR does not "
                                                     "have: the file is damaged");
    }
}

FramePart partOf(const FrameFile& file, const OIIO::ImageSpec& spec) {
    if (spec.deep)
        throw InputError(
            file.path.string(),
            "has a part of deep samples (" +
                std::string(spec.get_string_attribute("oiio:subimagename", "without a name")) +
                "), which have no place on a sensor: flatten its depth first, or "
                "leave the part out");
    FramePart part{spec.x - spec.full_x, spec.y - spec.full_y, spec.width, spec.height, {}};
    std::vector<bool> whole;
    for (int c = 0; c < spec.nchannels; ++c) {
        part.channels.push_back(
            {std::string(spec.channel_name(c)), typeOf(file, spec, c), ChannelKind::surface});
        whole.push_back(part.channels.back().type == SampleType::whole);
    }
    const auto kinds = kindsOfChannels(spec.channelnames, whole);
    for (size_t c = 0; c < kinds.size(); ++c) part.channels[c].kind = kinds[c];
    return part;
}

}  // namespace

size_t FramePart::pixelBytes() const {
    size_t bytes = 0;
    for (const FrameChannel& channel : channels) bytes += bytesOf(channel.type);
    return bytes;
}

FrameFile readFrameHeader(const PlateFile& plate) {
    const PictureSource source = openPicture(plate.path);
    if (source.kind != FileKind::exr)
        throw InputError(plate.path.string(), "is not an EXR file, despite its extension");
    if (!Linearization(plate.colour_space).isNone())
        throw InputError(plate.path.string(),
                         "holds " + plate.colour_space +
                             ", and a lens bends light: convert it to scene-linear first");
    FrameFile file;
    file.path = plate.path;
    file.width = plate.width;
    file.height = plate.height;
    file.main_part = size_t(source.part);
    auto attributes = std::make_shared<FrameFile::Attributes>();
    for (int part = 0; source.input->seek_subimage(part, 0); ++part) {
        attributes->specs.push_back(source.input->spec(part));
        checkSizes(plate.path, attributes->specs.back());
        file.parts.push_back(partOf(file, attributes->specs.back()));
    }
    checkCapacity(plate.path, attributes->specs);
    file.attributes = std::move(attributes);
    return file;
}

}  // namespace plateloom::io
