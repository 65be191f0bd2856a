#include "io/jpeg.h"

#include <OpenImageIO/filesystem.h>
#include <OpenImageIO/imageio.h>

#include "io/input_error.h"

namespace plateloom::io {

std::string jpegOf(const Picture& picture, int quality) {
    std::vector<unsigned char> bytes;
    OIIO::Filesystem::IOVecOutput memory(bytes);
    OIIO::Filesystem::IOProxy* proxy = &memory;
    OIIO::ImageSpec spec(picture.width, picture.height, 3, OIIO::TypeUInt8);
    spec.attribute("oiio:ioproxy", OIIO::TypeDesc::PTR, &proxy);
    spec.attribute("oiio:ColorSpace", "sRGB");
    spec.attribute("Compression", "jpeg:" + std::to_string(quality));
    const auto output = OIIO::ImageOutput::create("picture.jpg");
    if (!output || !output->open("picture.jpg", spec) ||
        !output->write_image(OIIO::TypeFloat, picture.data.data()) || !output->close())
        throw RoomError("a picture of the report", "could not be made as JPEG");
    return {bytes.begin(), bytes.end()};
}

}  // namespace plateloom::io
