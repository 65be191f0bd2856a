// The page on a check: its survey with the pictures that the check has in hand.
#pragma once

#include <filesystem>

#include "stitch/check/check_job.h"

namespace plateloom::stitch {

/// Of the check's last look, whose survey this is. No file is read for it. Throws io::RoomError.
void writeCheckReport(const std::filesystem::path& folder, Check& check, const Survey& survey);

}  // namespace plateloom::stitch
