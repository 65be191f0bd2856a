#include "stitch/report/check_report.h"

#include <map>

#include "io/input_error.h"
#include "stitch/compose/stitch_job.h"
#include "stitch/report/report.h"

namespace plateloom::stitch {

void writeCheckReport(const std::filesystem::path& folder, Check& check, const Survey& survey) {
    constexpr int kPanoramaWidth = 1024;
    const auto& seen = check.small();
    std::map<int, int> small_plate;  // by the survey's index; damaged plates have none
    for (size_t i = 0; i < seen.survey_plate.size(); ++i)
        small_plate[seen.survey_plate[i]] = int(i);
    SmallPlates small(survey.plates.size(), [&](int plate) {
        const auto found = small_plate.find(plate);
        if (found == small_plate.end())
            throw io::InputError(survey.plates[size_t(plate)].file, "has no picture");
        return *check.store().get(found->second);
    });
    auto placed = placedPlates(seen.solve.plates);
    for (auto& plate : placed) plate.plate = seen.survey_plate[size_t(plate.plate)];
    writeReport(folder, survey, small, quickPanorama(placed, small, kPanoramaWidth));
}

}  // namespace plateloom::stitch
