#include "io/picture_source.h"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

#include "io/file_completeness.h"
#include "io/file_name.h"
#include "io/input_error.h"
#include "io/movie_reader.h"
#include "io/picture_channels.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// Larger than any plate or panorama; a damaged header easily says more.
constexpr int kLongestEdge_px = 262'144;

const char* pluginFor(FileKind kind) {
    switch (kind) {
        case FileKind::exr:
            return "openexr";
        case FileKind::tiff:
            return "tiff";
        case FileKind::dpx:
            return "dpx";
        case FileKind::png:
            return "png";
        case FileKind::jpeg:
            return "jpeg";
        case FileKind::radiance:
            return "hdr";
        case FileKind::movie:
            return "ffmpeg";
    }
    return "";
}

[[noreturn]] void refuse(const fs::path& path, const std::string& what) {
    throw InputError(path.string(), what);
}

// How many bytes of samples one byte of an EXR can hold at most. Deflate gives 1032 for 1 (zlib's
// manual, "Maximum Compression Factor"), run lengths 64, and PIZ less than deflate; DWA quantizes
// blocks of 64 samples to as little as two before it deflates them.
uint64_t mostPerByte(const std::string& compression) {
    if (compression == "none") return 1;
    if (compression == "rle") return 64;
    return compression.starts_with("dwa") ? 32 * 1032 : 1032;
}

// Why OpenImageIO would not open it, as far as a person can use it.
std::string whyNotOpened(const fs::path& path, const OIIO::ImageInput& input) {
    const std::string said = input.geterror();
    throwIfNoMemory(path, said);
    if (said.find("ubsampl") != std::string::npos) {
        return "its colour channels are stored at half size (luminance and chroma): convert it to "
               "R, G and B at full size";
    }
    return "the header can't be read: the file is damaged or cut short";
}

}  // namespace

void checkSizes(const fs::path& path, const OIIO::ImageSpec& spec) {
    for (const int edge : {spec.width, spec.height, spec.full_width, spec.full_height}) {
        if (edge < 1 || edge > kLongestEdge_px) {
            refuse(path, "says that it is " + std::to_string(spec.full_width) + " x " +
                             std::to_string(spec.full_height) + " pixels (data " +
                             std::to_string(spec.width) + " x " + std::to_string(spec.height) +
                             "), which no plate is: the file is damaged");
        }
    }
    // Window corners far away would overflow the arithmetic on them.
    for (const int corner : {spec.x, spec.y, spec.full_x, spec.full_y}) {
        if (std::abs(int64_t(corner)) > 10 * kLongestEdge_px) {
            refuse(path, "its data or display window starts at pixel " + std::to_string(corner) +
                             ": the file is damaged");
        }
    }
}

void checkCapacity(const fs::path& path, const std::vector<OIIO::ImageSpec>& parts) {
    std::error_code error;
    const uint64_t length = fs::file_size(path, error);
    uint64_t least = 0, samples = 0;
    for (const OIIO::ImageSpec& part : parts) {
        const uint64_t bytes = part.image_bytes(true);
        samples += bytes;
        least += bytes / mostPerByte(part.get_string_attribute("compression", "none"));
    }
    if (!error && least > length)
        refuse(path, "says that it holds " + std::to_string(samples >> 20) +
                         " MB of samples, but its " + std::to_string(length) +
                         " bytes can't: the file is damaged or cut short, copy it again");
}

void checkMemory(const fs::path& path, uint64_t bytes) {
    const auto pages = ::sysconf(_SC_PHYS_PAGES), page = ::sysconf(_SC_PAGE_SIZE);
    if (pages > 0 && page > 0 && bytes / uint64_t(page) > uint64_t(pages))
        throw RoomError(path.string(), "needs " + std::to_string(bytes >> 20) +
                                           " MB of memory, more than this machine has");
}

void throwIfNoMemory(const fs::path& path, const std::string& said) {
    const std::string words = lowered(said);
    if (words.find("bad_alloc") != std::string::npos || words.find("memory") != std::string::npos)
        throw RoomError(path.string(), "there is not enough memory to read it");
}

FileKind kindOfFile(const fs::path& path) {
    std::error_code error;
    const fs::file_status status = fs::status(path, error);
    if (!fs::exists(status)) refuse(path, "there is no such file");
    if (fs::is_directory(status)) refuse(path, "this is a folder, not a picture");
    if (!fs::is_regular_file(status)) refuse(path, "this is a pipe or a device, not a picture");
    std::ifstream file(path, std::ios::binary);
    std::array<char, 4> first{};
    if (!file) {
        throwIfNoMemory(path, std::generic_category().message(errno));
        refuse(path, "can't be opened (" + std::generic_category().message(errno) + ")");
    }
    file.read(first.data(), first.size());
    if (file.gcount() == 0) refuse(path, "the file is empty (0 bytes)");

    const std::string_view magic(first.data(), first.size());
    using namespace std::string_view_literals;
    if (magic == "\x76\x2f\x31\x01"sv) return FileKind::exr;
    if (magic == "SDPX"sv || magic == "XPDS"sv) return FileKind::dpx;
    if (magic == "\x89PNG"sv) return FileKind::png;
    if (magic.starts_with("\xff\xd8\xff"sv)) return FileKind::jpeg;
    if (magic == "#?RA"sv || magic == "#?RG"sv) return FileKind::radiance;
    if (magic == "II*\0"sv || magic == "MM\0*"sv || magic == "II+\0"sv || magic == "MM\0+"sv) {
        // Camera raw files are TIFF outside, with a thumbnail where the picture should be.
        if (!isTiffName(path)) {
            refuse(path, "looks like camera raw: develop it to a 16-bit TIFF or an EXR first");
        }
        return FileKind::tiff;
    }
    if (isMovieName(path)) return FileKind::movie;
    refuse(path,
           "is not a picture that can be read here: pictures are EXR, TIFF, DPX, "
           "PNG, JPEG or Radiance HDR, movies are MOV, MP4, AVI or MPG");
}

Orientation Orientation::fromExif(int value) {
    switch (value) {
        case 2:
            return {false, true, false};
        case 3:
            return {false, true, true};
        case 4:
            return {false, false, true};
        case 5:
            return {true, false, false};
        case 6:
            return {true, true, false};
        case 7:
            return {true, true, true};
        case 8:
            return {true, false, true};
        default:
            return {};
    }
}

OIIO::TypeDesc PictureSource::type() const {
    OIIO::TypeDesc widest = spec.channelformat(channel[0]);
    for (int c = 1; c < 3; ++c) {
        const OIIO::TypeDesc other = spec.channelformat(channel[c]);
        if (other.size() > widest.size()) widest = other;
    }
    return widest;
}

bool PictureSource::isFloating() const {
    return type().is_floating_point();
}

namespace {

PictureSource movieSource(const fs::path& path, int frame, bool fresh) {
    PictureSource source;
    source.kind = FileKind::movie;
    source.input = fresh ? freshMovieAt(path, frame) : movieAt(path, frame);
    source.part = frame - 1;
    source.spec = source.input->spec();
    checkSizes(path, source.spec);
    const int channels = source.spec.nchannels;
    source.channel =
        channels < 3 ? std::array{0, 0, 0, -1} : std::array{0, 1, 2, channels == 4 ? 3 : -1};
    source.alpha_associated = false;
    return source;
}

}  // namespace

PictureSource openPlate(const PlateFile& file, bool fresh) {
    return file.movie_frame > 0 ? movieSource(file.path, file.movie_frame, fresh)
                                : openPicture(file.path);
}

PictureSource openPicture(const fs::path& path) {
    PictureSource source;
    source.kind = kindOfFile(path);
    if (source.kind == FileKind::movie) return movieSource(path, 1, true);
    checkComplete(path, source.kind);
    source.input = OIIO::ImageInput::create(pluginFor(source.kind));
    if (!source.input) refuse(path, "this build of OpenImageIO can't read this kind of file");

    // Alpha is associated here after linearising, never before.
    OIIO::ImageSpec wishes, first;
    wishes.attribute("oiio:UnassociatedAlpha", 1);
    if (!source.input->open(path.string(), first, wishes)) {
        refuse(path, whyNotOpened(path, *source.input));
    }
    const ChosenChannels chosen = chooseChannels(path, *source.input, source.kind);
    source.part = chosen.part;
    source.channel = chosen.channel;
    source.spec = source.input->spec(source.part);
    checkSizes(path, source.spec);
    source.alpha_associated = source.kind == FileKind::exr ||
                              source.spec.get_int_attribute("oiio:UnassociatedAlpha", 0) == 0;
    if (source.kind == FileKind::png) source.alpha_associated = false;
    source.orientation = Orientation::fromExif(source.spec.get_int_attribute("Orientation", 1));
    return source;
}

}  // namespace plateloom::io
