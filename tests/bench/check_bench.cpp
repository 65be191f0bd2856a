// The check on location against many shoots whose truth is known: does it find what went wrong, and
// does it cry about nothing else? And how near are the overlaps that it tells to the true ones?
//
//     check_bench flawed|sound [--first 1] [--count 20] [--size 1024x576] [--verbose]
//     check_bench off-axis     the pupil 5 mm before the axis: how near is the estimate?
#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>

#include "stitch/check/check_job.h"
#include "tests/program.h"
#include "world/flaws.h"
#include "world/recording.h"

using namespace plateloom;
using stitch::Finding;
using stitch::FindingKind;
using world::Flaw;

namespace {

FindingKind kindThatTells(Flaw::Kind flaw) {
    switch (flaw) {
        case Flaw::Kind::hole:
            return FindingKind::hole;
        case Flaw::Kind::soft:
            return FindingKind::blur;
        case Flaw::Kind::iris_said:
            return FindingKind::iris;
        case Flaw::Kind::iris_unsaid:
            return FindingKind::exposure;
        case Flaw::Kind::off_pupil:
            return FindingKind::parallax;
        case Flaw::Kind::lost_sample:
            return FindingKind::sample;
    }
    return FindingKind::damaged;
}

double apart_deg(const calib::PanTiltRoll& a, double pan_deg, double tilt_deg) {
    return calib::angleBetween_deg(calib::worldFromCamera({a.pan_deg, a.tilt_deg, 0}),
                                   calib::worldFromCamera({pan_deg, tilt_deg, 0}));
}

bool tells(const Finding& finding, const Flaw& flaw) {
    constexpr double kNear_deg = 12;
    if (finding.kind != kindThatTells(flaw.kind)) return false;
    if (flaw.kind == Flaw::Kind::off_pupil) return true;
    if (flaw.kind == Flaw::Kind::hole)
        return finding.pan_deg && finding.tilt_deg &&
               apart_deg(flaw.pose, *finding.pan_deg, *finding.tilt_deg) < kNear_deg;
    return std::find(finding.plates.begin(), finding.plates.end(), flaw.file) !=
           finding.plates.end();
}

// Share of a's picture that b sees as well, from the true cameras, counted pixel block by pixel
// block.
double trueShare(const world::Shoot& shoot, const world::PlannedPlate& a,
                 const world::PlannedPlate& b) {
    constexpr int kStep = 4;
    const calib::LensMap lens_a(a.lens, shoot.sensor), lens_b(b.lens, shoot.sensor);
    const calib::Matrix3d bFromA =
        calib::worldFromCamera(b.pose).transpose() * calib::worldFromCamera(a.pose);
    long seen = 0, all = 0;
    for (int y = kStep / 2; y < shoot.sensor.height_px; y += kStep)
        for (int x = kStep / 2; x < shoot.sensor.width_px; x += kStep) {
            ++all;
            const auto ray = lens_a.rayFromRecorded({double(x), double(y)});
            if (!ray) continue;
            const auto px = lens_b.recordedFromRay(bFromA * *ray);
            seen += px && lens_b.inPicture(*px);
        }
    return double(seen) / double(all);
}

// Largest difference between an overlap told and the true one; a pair that isn't told counts with
// all of its overlap.
double worstOverlap(const world::Shoot& shoot, const stitch::Survey& survey) {
    std::vector<const world::PlannedPlate*> plates;
    for (const auto& plate : survey.plates)
        for (const auto& planned : shoot.plates)
            if (planned.file == plate.file) plates.push_back(&planned);
    double worst = 0;
    for (int a = 0; a < int(plates.size()); ++a)
        for (int b = a + 1; b < int(plates.size()); ++b) {
            if (!survey.plates[size_t(a)].placed || !survey.plates[size_t(b)].placed) continue;
            double told = 0;
            for (const auto& pair : survey.pairs)
                if (pair.a == a && pair.b == b) told = pair.overlap;
            const double of_a = trueShare(shoot, *plates[size_t(a)], *plates[size_t(b)]);
            const double of_b = trueShare(shoot, *plates[size_t(b)], *plates[size_t(a)]);
            worst = std::max(worst, std::min(std::abs(told - of_a), std::abs(told - of_b)));
        }
    return worst;
}

// What a tape would measure: to the nearest thing that two plates see. One in two hundred
// directions may be nearer.
double nearest_m(const world::Shoot& shoot) {
    const world::Scene scene(shoot.settings.scene);
    const auto view = scene.seenFrom({0, 0, 0}, {});
    constexpr int kStep = 16;
    std::vector<double> distances;
    for (const auto& plate : shoot.plates) {
        const calib::LensMap lens(plate.lens, shoot.sensor);
        const auto worldFromCamera = calib::worldFromCamera(plate.pose);
        for (int y = 0; y < shoot.sensor.height_px; y += kStep)
            for (int x = 0; x < shoot.sensor.width_px; x += kStep) {
                const auto ray = lens.rayFromRecorded({double(x), double(y)});
                if (!ray) continue;
                const calib::Vector3d world = worldFromCamera * *ray;
                int seen = 0;
                for (const auto& other : shoot.plates) {
                    const calib::LensMap of_other(other.lens, shoot.sensor);
                    const auto px = of_other.recordedFromRay(
                        calib::worldFromCamera(other.pose).transpose() * world);
                    seen += px && of_other.inPicture(*px);
                }
                if (seen > 1) distances.push_back(view.distance_m(world));
            }
    }
    const auto nth = distances.begin() + ptrdiff_t(distances.size() / 200);
    std::nth_element(distances.begin(), nth, distances.end());
    return *nth;
}

void tellOffset(const world::Shoot& shoot) {
    const test::Folder folder;
    world::writeShoot(folder.path(), shoot, {}, true);
    stitch::CheckRequest request;
    request.plates.plates = {folder.path().string()};
    request.plates.lens_tracks = {folder / "lens.jsonl"};
    request.nearest_m = nearest_m(shoot);
    stitch::Check check(request);
    const auto survey = check.look([](const std::string&, double) {});
    const double true_mm = 1000 * shoot.settings.parallax_m;
    if (!survey.head_offset) {
        std::printf("    NOT FOUND: %.1f mm, nearest %.2f m\n", true_mm, *request.nearest_m);
        return;
    }
    std::printf("    true %.1f mm, nearest %.2f m: told %.1f mm (%.2f of it)\n", true_mm,
                *request.nearest_m, *survey.head_offset->offset_mm,
                *survey.head_offset->offset_mm / true_mm);
}

struct Score {
    int flaws = 0, found = 0, false_alarms = 0;
    double worst_overlap = 0, seconds = 0;
};

Score scoreOf(const world::FlawedShoot& shoot, bool verbose) {
    const test::Folder folder;
    world::writeShoot(folder.path(), shoot.shoot, {}, true);
    stitch::CheckRequest request;
    request.plates.plates = {folder.path().string()};
    request.plates.lens_tracks = {folder / "lens.jsonl"};
    request.plates.report = folder / "report.csv";
    const auto start = std::chrono::steady_clock::now();
    stitch::Check check(request);
    const auto survey = check.look([](const std::string&, double) {});
    Score score;
    score.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    score.worst_overlap = worstOverlap(shoot.shoot, survey);
    score.flaws = int(shoot.flaws.size());
    for (const auto& flaw : shoot.flaws) {
        const bool found =
            std::any_of(survey.findings.begin(), survey.findings.end(),
                        [&](const Finding& finding) { return tells(finding, flaw); });
        score.found += found;
        if (!found)
            std::printf("    NOT FOUND %s %s pan %.0f tilt %.0f amount %.4f\n",
                        world::nameOf(flaw.kind), flaw.file.c_str(), flaw.pose.pan_deg,
                        flaw.pose.tilt_deg, flaw.amount);
    }
    for (const auto& finding : survey.findings) {
        const bool known = std::any_of(shoot.flaws.begin(), shoot.flaws.end(),
                                       [&](const Flaw& flaw) { return tells(finding, flaw); });
        if (finding.grave && !known) ++score.false_alarms;
        if (verbose || (finding.grave && !known))
            std::printf("    %s%s: %s\n",
                        known           ? ""
                        : finding.grave ? "FALSE ALARM "
                                        : "(said as well) ",
                        stitch::nameOf(finding.kind), finding.text.c_str());
    }
    return score;
}

}  // namespace

int main(int argc, char** argv) {
    std::string kind = "flawed", size = "1024x576";
    uint32_t first = 1, count = 20;
    bool verbose = false;
    CLI::App app("Checks rendered shoots and counts what was found.");
    app.add_option("kind", kind)->check(CLI::IsMember({"flawed", "sound", "off-axis"}));
    app.add_option("--first", first);
    app.add_option("--count", count);
    app.add_option("--size", size);
    app.add_flag("--verbose", verbose);
    CLI11_PARSE(app, argc, argv);

    Score all;
    for (uint32_t seed = first; seed < first + count; ++seed) {
        auto settings = world::steadySettings(seed);
        if (std::sscanf(size.c_str(), "%dx%d", &settings.width_px, &settings.height_px) != 2)
            return 2;
        if (kind == "off-axis") {
            settings.parallax_m = seed % 2 ? 0.005 : -0.005;
            std::printf("shoot %u\n", seed);
            tellOffset(world::planShoot(settings));
            std::fflush(stdout);
            continue;
        }
        world::FlawedShoot shoot;
        if (kind == "flawed")
            shoot = world::flawedShoot(settings, world::drawFlaws(seed), seed);
        else
            shoot.shoot = world::planShoot(settings);
        std::string flaws;
        for (const auto& flaw : shoot.flaws) flaws += std::string(" ") + world::nameOf(flaw.kind);
        std::printf("%s shoot %u:%s\n", kind.c_str(), seed, flaws.c_str());
        const Score score = scoreOf(shoot, verbose);
        std::printf("    %d of %d found, %d false alarms, overlaps within %.2f points, %.1f s\n",
                    score.found, score.flaws, score.false_alarms, 100 * score.worst_overlap,
                    score.seconds);
        std::fflush(stdout);
        all.flaws += score.flaws;
        all.found += score.found;
        all.false_alarms += score.false_alarms;
        all.worst_overlap = std::max(all.worst_overlap, score.worst_overlap);
    }
    if (kind == "off-axis") return 0;
    std::printf(
        "%u %s shoots: %d of %d flaws found, %d false alarms, overlaps within %.2f points\n", count,
        kind.c_str(), all.found, all.flaws, all.false_alarms, 100 * all.worst_overlap);
    return all.found == all.flaws && all.false_alarms <= 1 ? 0 : 1;
}
