// A picture file on its way to disk. OpenImageIO writes through it, so that a full disk is noticed
// at the byte that did not fit, also where a library would swallow the error while it closes.
#pragma once

#include <OpenImageIO/filesystem.h>
#include <OpenImageIO/imageio.h>

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "io/made_mark.h"
#include "io/new_file.h"
#include "io/plate_file.h"

namespace plateloom::io {

class WrittenFile {
public:
    /// `target` chooses the format by its extension and bears the errors. Throws InputError for an
    /// extension that can't be written, RoomError as NewFile does.
    explicit WrittenFile(const std::filesystem::path& target);
    ~WrittenFile();
    WrittenFile(const WrittenFile&) = delete;
    WrittenFile& operator=(const WrittenFile&) = delete;

    /// "openexr", "tiff", "png" or "jpeg".
    [[nodiscard]] const char* format() const { return output_->format_name(); }
    void open(const OIIO::ImageSpec& spec);
    /// A file of several parts; the first is then the open one.
    void open(const std::vector<OIIO::ImageSpec>& parts);
    void openNext(const OIIO::ImageSpec& part);
    [[nodiscard]] OIIO::ImageOutput& output() { return *output_; }
    /// Throws RoomError when `written` is false, or when bytes did not fit.
    void check(bool written);
    /// An EXR's header goes to disk before the pixels of which PictureTags::found tells: what stood
    /// there (`before`) becomes `after`, of the same length, when the file is finished.
    void tellFound(const std::string& before, const std::string& after);
    /// Closes, checks that every byte is there, renames.
    void finish();
    /// The same without renaming: whoever has it commits it.
    [[nodiscard]] std::unique_ptr<NewFile> close();

private:
    class Bytes;
    std::filesystem::path target_;
    std::unique_ptr<NewFile> file_;
    std::unique_ptr<Bytes> bytes_;
    std::unique_ptr<OIIO::ImageOutput> output_;
    std::string found_before_, found_after_;
};

/// The name of PictureTags::found in a file.
inline constexpr const char* kFoundAttribute = "plateloom:found";

/// Puts the tags into the attributes that OpenImageIO writes as the `format`'s own.
void addTags(const PictureTags& tags, const std::string& format, OIIO::ImageSpec& spec);

/// Where the `format` keeps made_mark.h's mark. After addTags.
void addMark(Made kind, const std::string& format, OIIO::ImageSpec& spec);

}  // namespace plateloom::io
