#include "io/written_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cassert>
#include <cctype>
#include <cerrno>
#include <fstream>
#include <string>
#include <system_error>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/panorama_reader.h"

namespace plateloom::io {

namespace {

const char* pluginFor(const std::filesystem::path& target) {
    if (isExrName(target)) return "openexr";
    if (isTiffName(target)) return "tiff";
    const std::string extension = lowerExtension(target);
    if (extension == ".png") return "png";
    if (extension == ".jpg" || extension == ".jpeg") return "jpeg";
    throw InputError(target.string(),
                     "pictures are written as .exr, .tif, .png or .jpg: give the "
                     "file one of these extensions");
}

// The library puts the time of writing where a picture does not say when it was taken, so that the
// same job made twice would give two different files. An attribute of a type that no format can
// hold is there for the library, and is not written.
OIIO::ImageSpec withoutClock(OIIO::ImageSpec spec) {
    if (spec.find_attribute("DateTime")) return spec;
    // Else some builds of the library tell developers about that type, on standard error.
    static const bool quiet = OIIO::attribute("debug", 0);
    (void)quiet;
    const void* nothing = nullptr;
    spec.attribute("DateTime", OIIO::TypeDesc::PTR, &nothing);
    return spec;
}

// A string attribute as OpenEXR writes it: name, type, size (little-endian), characters.
std::string attributeBytes(const std::string& name, const std::string& text) {
    std::string bytes = name + '\0' + "string" + '\0';
    for (size_t shift = 0; shift < 32; shift += 8) bytes += char(text.size() >> shift & 0xff);
    return bytes + text;
}

// The header stands at the file's beginning.
bool replaceInHeader(const std::filesystem::path& path, const std::string& before,
                     const std::string& after) {
    constexpr size_t kLongestHeader = size_t(1) << 20;
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    std::string header(kLongestHeader, '\0');
    file.read(header.data(), std::streamsize(header.size()));
    header.resize(size_t(file.gcount()));
    const size_t at = header.find(before);
    if (at == std::string::npos) return false;
    file.clear();
    file.seekp(std::streamoff(at));
    file.write(after.data(), std::streamsize(after.size()));
    file.close();
    return !file.fail();
}

}  // namespace

// Unbuffered: the libraries hand over whole compressed blocks. The first error is kept.
class WrittenFile::Bytes : public OIIO::Filesystem::IOProxy {
public:
    explicit Bytes(const std::filesystem::path& path)
        : IOProxy(path.string(), Write), file_(::open(path.c_str(), O_RDWR | O_TRUNC | O_CLOEXEC)) {
        if (file_ < 0) error_ = errno;
    }
    ~Bytes() override { shut(); }
    Bytes(const Bytes&) = delete;
    Bytes& operator=(const Bytes&) = delete;

    /// 0, or the errno of the first write that failed.
    [[nodiscard]] int failure() const { return error_; }
    /// Some file systems tell of a full disk only here.
    void shut() {
        if (file_ >= 0 && ::close(file_) != 0 && error_ == 0) error_ = errno;
        file_ = -1;
    }

    const char* proxytype() const override { return "plateloom"; }
    bool opened() const override { return file_ >= 0; }
    void close() override { shut(); }
    int64_t tell() override { return at_; }
    bool seek(int64_t offset) override {
        at_ = offset;
        return true;
    }
    size_t write(const void* bytes, size_t size) override {
        const size_t done = pwrite(bytes, size, at_);
        at_ += int64_t(done);
        return done;
    }
    size_t pwrite(const void* bytes, size_t size, int64_t offset) override {
        size_t done = 0;
        while (done < size && error_ == 0) {
            const ssize_t count = ::pwrite(file_, static_cast<const char*>(bytes) + done,
                                           size - done, offset + int64_t(done));
            if (count > 0) {
                done += size_t(count);
            } else if (count == 0 || errno != EINTR) {
                error_ = count == 0 ? ENOSPC : errno;
            }
        }
        return done;
    }
    size_t read(void* bytes, size_t size) override {
        const size_t done = pread(bytes, size, at_);
        at_ += int64_t(done);
        return done;
    }
    size_t pread(void* bytes, size_t size, int64_t offset) override {
        size_t done = 0;
        while (done < size) {
            const ssize_t count = ::pread(file_, static_cast<char*>(bytes) + done, size - done,
                                          offset + int64_t(done));
            if (count < 0 && errno == EINTR) continue;
            if (count <= 0) break;
            done += size_t(count);
        }
        return done;
    }
    size_t size() const override {
        const off_t end = ::lseek(file_, 0, SEEK_END);
        return end < 0 ? 0 : size_t(end);
    }
    void flush() const override {}

private:
    int file_ = -1;
    int error_ = 0;
    int64_t at_ = 0;
};

WrittenFile::WrittenFile(const std::filesystem::path& target) : target_(target) {
    output_ = OIIO::ImageOutput::create(pluginFor(target));
    if (!output_) {
        throw InputError(target.string(), "this build of OpenImageIO can't write this format");
    }
    file_ = std::make_unique<NewFile>(target);
    bytes_ = std::make_unique<Bytes>(file_->path());
    check(true);
}

WrittenFile::~WrittenFile() {
    // The library writes its last bytes while it closes: it must go before what it writes to.
    if (output_) output_->close();
}

void WrittenFile::open(const OIIO::ImageSpec& spec) {
    OIIO::ImageSpec through = withoutClock(spec);
    OIIO::Filesystem::IOProxy* proxy = bytes_.get();
    through.attribute("oiio:ioproxy", OIIO::TypeDesc::PTR, &proxy);
    check(output_->open(file_->path().string(), through));
}

void WrittenFile::open(const std::vector<OIIO::ImageSpec>& parts) {
    if (parts.size() == 1) {
        open(parts.front());
        return;
    }
    std::vector<OIIO::ImageSpec> through;
    for (const OIIO::ImageSpec& part : parts) through.push_back(withoutClock(part));
    OIIO::Filesystem::IOProxy* proxy = bytes_.get();
    for (OIIO::ImageSpec& part : through)
        part.attribute("oiio:ioproxy", OIIO::TypeDesc::PTR, &proxy);
    check(output_->open(file_->path().string(), int(through.size()), through.data()));
}

void WrittenFile::openNext(const OIIO::ImageSpec& part) {
    check(output_->open(file_->path().string(), withoutClock(part),
                        OIIO::ImageOutput::AppendSubimage));
}

void WrittenFile::check(bool written) {
    const int failure = bytes_->failure();
    if (written && failure == 0) return;
    const std::string said = output_->geterror();
    if (failure != 0) throwWriteFault(target_, failure);
    throw RoomError(target_.string(), "can't be written in this format (" + said + ")");
}

void WrittenFile::tellFound(const std::string& before, const std::string& after) {
    assert(before.size() == after.size());
    found_before_ = before;
    found_after_ = after;
}

std::unique_ptr<NewFile> WrittenFile::close() {
    const bool closed = output_->close();
    bytes_->shut();
    check(closed);
    if (found_after_ != found_before_)
        check(replaceInHeader(file_->path(), attributeBytes(kFoundAttribute, found_before_),
                              attributeBytes(kFoundAttribute, found_after_)));
    return std::move(file_);
}

void WrittenFile::finish() {
    close()->commit();
}

void addTags(const PictureTags& tags, const std::string& format, OIIO::ImageSpec& spec) {
    if (tags.chromaticities && tags.chromaticities->size() == 8) {
        spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8),
                       tags.chromaticities->data());
    }
    if (tags.pixel_aspect != 1) spec.attribute("PixelAspectRatio", float(tags.pixel_aspect));
    if (tags.timecode_word) {
        const uint32_t words[2] = {*tags.timecode_word, tags.timecode_user.value_or(0)};
        spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    }
    if (tags.frame_rate) {
        const int fraction[2] = {tags.frame_rate->num, tags.frame_rate->denom};
        spec.attribute("framesPerSecond", OIIO::TypeRational, fraction);
    }
    if (tags.latlong) {
        // OpenImageIO writes OpenEXR's `envmap = latlong` for this; no smaller levels are wanted.
        spec.attribute("textureformat", "LatLong Environment");
        spec.attribute("openexr:levelmode", 0);
    }
    // No standard has an attribute for it: words that a person can read, and panorama_reader does.
    if (tags.cylinder) spec.attribute("ImageDescription", describeCylinder(*tags.cylinder));
    // In a TIFF this becomes EXIF, whose directory OpenImageIO 2.4 damages when it writes through a
    // proxy; a reader takes integers for sRGB and floating point for light anyhow.
    if (format != "tiff") {
        const bool linear = tags.colour_space.empty() || tags.colour_space == "scene_linear";
        spec.attribute("oiio:ColorSpace", linear ? "Linear" : tags.colour_space);
    }
    if (!tags.recipe.empty()) spec.attribute("plateloom:recipe", tags.recipe);
    if (!tags.found.empty()) spec.attribute(kFoundAttribute, tags.found);
    spec.attribute("Software", "plateloom");
}

void addMark(Made kind, const std::string& format, OIIO::ImageSpec& spec) {
    const std::string mark = openMark(kind);
    if (format == "openexr")
        spec.attribute("plateloom:made", mark);
    else if (format == "tiff")
        spec.attribute("Software", "plateloom " + mark);
    else
        spec.attribute("ImageDescription", mark);
}

}  // namespace plateloom::io
