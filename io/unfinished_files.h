// Uncommitted files (new_file.h) when the process has to end at once.
#pragma once

namespace plateloom::io {

/// Unlinks them all; may be called from a signal handler.
void removeUnfinishedFiles();

}  // namespace plateloom::io
