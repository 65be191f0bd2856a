// Files that are cut short, or whose bytes are not those that were written, in the formats whose
// library would not say so: it fills the rest of a DPX with zeros, and tells the user's terminal
// about a PNG in its own words, and asks for any amount of memory that an EXR's header mentions.
#pragma once

#include <filesystem>

#include "io/picture_source.h"

namespace plateloom::io {

/// Throws InputError. One pass over a PNG's bytes (its checksums); a few reads for a DPX and an
/// EXR's header; nothing for the formats whose reader notices by itself.
void checkComplete(const std::filesystem::path& path, FileKind kind);

}  // namespace plateloom::io
