#include <string>
#include <vector>

#include "io/frame_attributes.h"
#include "io/frame_file.h"
#include "io/written_file.h"

namespace plateloom::io {

namespace {

// What says something about pixels that are no longer there, or how they were laid out in the file.
constexpr const char* kUntrue[] = {"oiio:SHA-1",         "oiio:ConstantColor",
                                   "oiio:AverageColor",  "oiio:subimages",
                                   "openexr:levelmode",  "openexr:roundingmode",
                                   "textureformat",      "openexr:lineOrder",
                                   "openexr:chunkCount", "thumbnail_width",
                                   "thumbnail_height",   "thumbnail_nchannels",
                                   "thumbnail_image",    "preview",
                                   "wrapmodes"};

void addAlpha(const FrameLayout& layout, OIIO::ImageSpec& spec) {
    spec.alpha_channel = spec.nchannels++;
    spec.channelnames.push_back(layout.alpha);
    if (!spec.channelformats.empty())
        spec.channelformats.push_back(layout.alpha_type == SampleType::half ? OIIO::TypeHalf
                                                                            : OIIO::TypeFloat);
}

OIIO::ImageSpec specOf(const OIIO::ImageSpec& source, const FrameLayout& layout) {
    OIIO::ImageSpec spec = source;
    spec.x = spec.full_x + layout.x;
    spec.y = spec.full_y + layout.y;
    spec.width = layout.width;
    spec.height = layout.height;
    spec.tile_width = spec.tile_height = spec.tile_depth = 0;
    for (const char* name : kUntrue) spec.erase_attribute(name);
    return spec;
}

}  // namespace

struct FrameWriter::State {
    WrittenFile file;
    std::vector<OIIO::ImageSpec> parts;
    std::string found;
    size_t open_part = 0;
};

FrameWriter::FrameWriter(const std::filesystem::path& target, const FrameFile& source,
                         const FrameLayout& layout, const std::string& recipe,
                         const std::string& found, Made kind)
    : state_(new State{WrittenFile(target), {}, found, 0}) {
    for (const OIIO::ImageSpec& spec : source.attributes->specs)
        state_->parts.push_back(specOf(spec, layout));
    if (!layout.alpha.empty()) addAlpha(layout, state_->parts[source.main_part]);
    state_->parts.front().attribute("plateloom:recipe", recipe);
    state_->parts.front().attribute(kFoundAttribute, found);
    addMark(kind, "openexr", state_->parts.front());
    state_->file.open(state_->parts);
}

FrameWriter::~FrameWriter() = default;

void FrameWriter::write(size_t part, int y, int rows, const char* samples) {
    for (; state_->open_part < part; ++state_->open_part)
        state_->file.openNext(state_->parts[state_->open_part + 1]);
    const OIIO::ImageSpec& spec = state_->parts[part];
    state_->file.check(state_->file.output().write_scanlines(spec.y + y, spec.y + y + rows, spec.z,
                                                             OIIO::TypeUnknown, samples));
}

void FrameWriter::finish(const std::string& found) {
    state_->file.tellFound(state_->found, found);
    state_->file.finish();
}

}  // namespace plateloom::io
