#include "stitch/cli/report_option.h"

#include "io/input_error.h"
#include "io/report_page.h"
#include "stitch/cli/terminal.h"

namespace plateloom::cli {

void ReportOption::addTo(CLI::App& command) {
    command
        .add_option("--report", folder,
                    "Folder for a page to look at: DIR/index.html, one file, opens offline")
        ->type_name("DIR");
}

std::unique_ptr<stitch::JobReport> ReportOption::begin() const {
    if (folder.empty()) return nullptr;
    stitch::prepareReport(folder);
    return std::make_unique<stitch::JobReport>();
}

void ReportOption::write(const std::string& command, const Run& run,
                         stitch::JobReport* report) const {
    if (!report) return;
    report->survey.command = command;
    report->survey.status = int(run.status);
    report->survey.peak_memory_bytes = peakMemory();
    stitch::writeReport(folder, report->survey, *report->small, report->panorama);
    say("wrote " + io::reportPagePath(folder).string());
}

void refuseForClips(const ReportOption& report) {
    if (report.folder.empty()) return;
    throw io::InputError("--report " + report.folder,
                         "there is no page of clips here; `plateloom check --clips` writes one");
}

}  // namespace plateloom::cli
