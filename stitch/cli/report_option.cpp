#include "stitch/cli/report_option.h"

#include <tbb/global_control.h>

#include "io/report_page.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/take_report.h"

namespace plateloom::cli {

void ReportOption::addTo(CLI::App& command) {
    command
        .add_option("--report", folder, "Folder for the report page, DIR/index.html; opens offline")
        ->type_name("DIR")
        ->group(kOutput);
}

void ReportOption::addTo(io::OutputGuard& outputs) const {
    if (!folder.empty()) outputs.writes(io::reportPagePath(folder), io::Made::page);
}

std::unique_ptr<stitch::JobReport> ReportOption::begin() const {
    if (folder.empty()) return nullptr;
    stitch::prepareReport(folder);
    return std::make_unique<stitch::JobReport>();
}

stitch::JobRecord* ReportOption::recordOf(stitch::JobReport* report) {
    return report ? &report->record : nullptr;
}

void ReportOption::write(const std::string& command, const Run& run,
                         stitch::JobReport* report) const {
    if (!report) return;
    report->survey.command = command;
    report->survey.status = int(run.status);
    report->survey.peak_memory_bytes = peakMemory();
    stitch::writeReport(folder, report->survey, *report->record.small, report->record.panorama);
    say("wrote " + io::reportPagePath(folder).string());
}

void ReportOption::beginTake() const {
    if (!folder.empty()) stitch::prepareReport(folder);
}

void ReportOption::writeTake(const std::string& command, const Run& run, int threads,
                             const stitch::Take& take, const stitch::TakeSolve& solve,
                             const std::function<stitch::TakeSurvey()>& survey) const {
    if (folder.empty()) return;
    std::unique_ptr<tbb::global_control> limit;
    if (threads > 0)
        limit = std::make_unique<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                      size_t(threads));
    stitch::TakeSurvey made = survey();
    made.command = command;
    made.status = int(run.status);
    made.peak_memory_bytes = peakMemory();
    stitch::writeTakeReport(folder, take, solve, made);
    say("wrote " + io::reportPagePath(folder).string());
}

}  // namespace plateloom::cli
