// What the page of a lens measured from charts shows: its figures as JSON, and one picture of each
// setting as it was recorded and flattened.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "io/lens_page.h"
#include "stitch/calibrate/chart_job.h"

namespace plateloom::stitch {

[[nodiscard]] nlohmann::json chartPageJson(const ChartJob& job);

/// Of each setting the picture whose lines the lens bends most, small. A picture that can't be read
/// any more is left out. `colour_space` as in ChartRequest.
[[nodiscard]] std::vector<io::BeforeAndAfter> chartPictures(const ChartJob& job,
                                                            const std::string& colour_space);

/// Both, written to `folder`. Throws RoomError.
void writeChartPage(const std::filesystem::path& folder, const ChartJob& job,
                    const std::string& colour_space);

}  // namespace plateloom::stitch
