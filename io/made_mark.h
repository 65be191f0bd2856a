// The mark by which this program knows a file that it made, and whether it is as it was written.
//
// The mark is plain text, the same in every format, with a digest of all other bytes of the file:
//     plateloom-made:solve:0123456789abcdef
// It stands in the attribute plateloom:made of an EXR, in Software of a TIFF, in the comment of a
// PNG or a JPEG, in custom.plateloom.made of a JSON file's first sample, in a # line of a CSV and
// in a comment of an HTML page. A program that rewrites the file drops the mark or changes the
// bytes: either way the file is then a person's. The digest is XXH64: it tells an edit, it is no
// protection against forgery.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace plateloom::io {

/// What a file is. One that was made as another kind is not replaced either.
enum class Made {
    panorama,
    flat_plate,
    frame,  ///< the lens look put back
    view,
    map,
    preview,
    sheet,
    solve,
    seams,
    shake,
    lens_table,
    plan,
    page
};

/// The mark as a writer puts it into the file, digest still open.
[[nodiscard]] std::string openMark(Made kind);

/// The kind of the mark that stands in a text, whatever its digest; nullopt where there is none.
[[nodiscard]] std::optional<Made> markedKind(const std::string& text);

/// Fills in the digest of the finished file. A file without a mark stays as it is. Returns 0 or an
/// errno. `file` is open for reading and writing.
[[nodiscard]] int sealMark(int file);

enum class Standing {
    absent,
    ours,     ///< of this kind, and as it was written
    changed,  ///< of this kind, and changed since
    foreign   ///< without a mark, of another kind, or unreadable
};
[[nodiscard]] Standing standingOf(const std::filesystem::path& path, Made kind);

}  // namespace plateloom::io
