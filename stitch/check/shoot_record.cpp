#include "stitch/check/shoot_record.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <memory>
#include <set>

#include "io/input_error.h"
#include "io/plate_samples.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

namespace {

std::string nameOf(const io::PlateFile& file) {
    return file.path.filename().string();
}

// A lens that stands in for a plate's own is nearly right: focus may have moved.
constexpr double kBorrowedSigma = 0.005;

struct Samples {
    std::vector<const io::LensSample*> of_plate;             // null: none
    std::vector<std::shared_ptr<const io::LensSample>> own;  // those that no track holds itself
    std::string said;
};

// All plates together where that works; else each by itself, so that one that has no sample does
// not cost the others theirs.
Samples samplesOf(const std::vector<io::PlateFile>& files,
                  const std::vector<io::LensTrack>& tracks) {
    Samples out;
    try {
        const auto tied = io::tieSamples(files, tracks);
        out.of_plate = tied.sample;
        out.own = tied.between;
        out.said = tied.said;
        return out;
    } catch (const io::InputError&) {
        size_t tied = 0;
        for (const auto& file : files) {
            out.of_plate.push_back(nullptr);
            try {
                const auto one = io::tieSamples({file}, tracks);
                out.of_plate.back() = one.sample.front();
                out.own.insert(out.own.end(), one.between.begin(), one.between.end());
                ++tied;
            } catch (const io::InputError&) {
            }
        }
        out.said = std::to_string(tied) + " of " + std::to_string(files.size()) +
                   " plates tied to lens samples";
    }
    return out;
}

// Without anything to tie by but its place in the order.
io::LensSample untied(io::LensSample sample) {
    sample.timecode.reset();
    sample.frame.reset();
    sample.file.clear();
    sample.clip.clear();
    return sample;
}

// Whether a plate can be described with this sample; else why not.
std::string faultWith(const io::PlateFile& file, const io::LensSample& sample,
                      const PlateArguments& arguments) {
    io::LensTrack one;
    // Which sample is whose is settled: what it was tied by must not be asked for once more.
    one.samples = {untied(sample)};
    try {
        (void)describePlates({file}, {one}, nullptr, arguments);
    } catch (const io::InputError& error) {
        return error.what();
    }
    return "";
}

// The nearest plate in the list that has a sample.
const io::LensSample* nearestSample(const std::vector<const io::LensSample*>& samples, size_t to) {
    for (size_t step = 1; step < samples.size(); ++step) {
        if (to >= step && samples[to - step]) return samples[to - step];
        if (to + step < samples.size() && samples[to + step]) return samples[to + step];
    }
    return nullptr;
}

// A track with one sample a plate, in the plates' order and without anything else to tie by.
io::LensTrack trackInOrder(const std::vector<const io::LensSample*>& samples,
                           const std::vector<io::LensTrack>& tracks) {
    io::LensTrack track;
    track.path = tracks.front().path;
    for (size_t i = 0; i < samples.size(); ++i) {
        const bool own = samples[i] != nullptr;
        io::LensSample sample = own ? *samples[i] : *nearestSample(samples, i);
        if (!own) sample.pose.reset();
        track.samples.push_back(untied(std::move(sample)));
    }
    return track;
}

Finding sampleFinding(const std::string& file, const std::string& text, const std::string& advice) {
    return {FindingKind::sample, true, {file}, {}, {}, text, advice};
}

// Ties samples to plates and says which have none, or one that can't be used.
Samples usableSamples(const std::vector<io::PlateFile>& files,
                      const std::vector<io::LensTrack>& tracks, const PlateArguments& arguments,
                      ShootRecord& record) {
    Samples samples = samplesOf(files, tracks);
    record.set.notes.push_back(samples.said);
    size_t none = 0;
    for (const auto* sample : samples.of_plate) none += sample == nullptr;
    if (none == files.size()) {
        record.findings.push_back(
            {FindingKind::sample,
             true,
             {},
             {},
             {},
             tracks.front().path.filename().string() + " has no sample for any of the plates",
             "give the track that was recorded with them; they are looked at without it here"});
        return {};
    }
    for (size_t i = 0; i < files.size(); ++i) {
        auto*& sample = samples.of_plate[i];
        const std::string name = nameOf(files[i]);
        if (!sample) {
            const auto timecode = files[i].timecode();
            record.findings.push_back(sampleFinding(
                name,
                "no lens sample for " + name +
                    (timecode ? " (timecode " + io::toString(*timecode) + ")" : ""),
                "shoot it again with the lens data running; its neighbour's lens stands in here"));
        } else if (const auto fault = faultWith(files[i], *sample, arguments); !fault.empty()) {
            record.findings.push_back(sampleFinding(
                name, "the lens sample of " + name + " can't be used: " + fault,
                "shoot it again with the lens data running; its neighbour's lens stands in here"));
            sample = nullptr;
        }
    }
    return samples;
}

bool sameToTheLastDigit(const io::LensSample& a, const io::LensSample& b) {
    const auto pose = [](const io::LensSample& s) {
        return s.pose ? std::array{s.pose->pan_deg, s.pose->tilt_deg, s.pose->roll_deg}
                      : std::array{0.0, 0.0, 0.0};
    };
    return a.lens.focal_mm == b.lens.focal_mm && a.lens.focus_m == b.lens.focus_m &&
           a.lens.t_stop == b.lens.t_stop && a.lens.f_stop == b.lens.f_stop &&
           a.lens.distortion.radial == b.lens.distortion.radial && pose(a) == pose(b);
}

// Encoders that stand still: a sample that repeats the one before to the last digit, in a take
// whose samples otherwise differ from plate to plate.
void addStale(const std::vector<io::PlateFile>& files,
              const std::vector<const io::LensSample*>& samples, ShootRecord& record) {
    std::vector<size_t> repeats;
    size_t compared = 0;
    for (size_t i = 1; i < samples.size(); ++i) {
        if (!samples[i] || !samples[i - 1] || samples[i] == samples[i - 1]) continue;
        ++compared;
        if (sameToTheLastDigit(*samples[i], *samples[i - 1])) repeats.push_back(i);
    }
    constexpr size_t kEnough = 4;
    if (compared < kEnough || repeats.empty() || 2 * repeats.size() > compared) return;
    for (const size_t i : repeats) {
        const std::string name = nameOf(files[i]), before = nameOf(files[i - 1]);
        record.findings.push_back(
            sampleFinding(name,
                          "the lens sample of " + name + " repeats that of " + before +
                              " to the last digit, while the others move",
                          "see that the encoders are connected, and shoot it again"));
    }
}

// The report's lines that belong to these plates; what names none of them is a plate that is not
// on disk, and what is said twice counts once.
io::CameraReport reportOf(const std::vector<io::PlateFile>& files, const io::CameraReport& report,
                          ShootRecord& record) {
    io::CameraReport kept{report.path, {}, report.warnings};
    std::set<size_t> described;
    std::vector<std::string> missing;
    for (const auto& line : report.lines) {
        const auto meant = platesNamed(line.file, files);
        if (meant.empty()) {
            missing.push_back(line.file);
        } else if (meant.size() > 1 || !described.insert(meant.front()).second) {
            record.set.warnings.push_back(report.path.string() + ":" + std::to_string(line.line) +
                                          ": " + line.file +
                                          " names more than one plate, or one that another line "
                                          "names; this line is not used");
        } else {
            kept.lines.push_back(line);
        }
    }
    if (missing.empty()) return kept;
    const std::string where = report.path.filename().string();
    if (kept.lines.empty())
        record.findings.push_back({FindingKind::missing_plate,
                                   true,
                                   missing,
                                   {},
                                   {},
                                   where + " names none of the plates (" + inWords(missing) + ")",
                                   "give the report of this shoot, or fix its file names"});
    else
        for (const auto& line : report.lines) {
            if (std::find(missing.begin(), missing.end(), line.file) == missing.end()) continue;
            record.findings.push_back({FindingKind::missing_plate,
                                       true,
                                       {line.file},
                                       line.pan_deg,
                                       line.tilt_deg,
                                       line.file + " is in " + where + " but not among the plates",
                                       "copy it from the card, or shoot it again"});
        }
    return kept;
}

// Where the table asks for a ring that nobody noted, the plates are looked at without it.
PlateSet describeWithTable(const std::vector<io::PlateFile>& files,
                           const std::vector<io::LensTrack>& tracks, const io::CameraReport* report,
                           const PlateArguments& arguments, const TableInUse* table,
                           ShootRecord& record) {
    if (table) {
        try {
            return describePlates(files, tracks, report, arguments, table);
        } catch (const io::InputError& error) {
            record.findings.push_back({FindingKind::sample,
                                       true,
                                       {},
                                       {},
                                       {},
                                       std::string("the lens table can't be used: ") + error.what(),
                                       "note the rings in a camera report; the plates are looked "
                                       "at without the table here"});
        }
    }
    return describePlates(files, tracks, report, arguments);
}

}  // namespace

ShootRecord describeShoot(const std::vector<io::PlateFile>& files,
                          const std::vector<io::LensTrack>& tracks, const io::CameraReport* report,
                          const PlateArguments& arguments, const TableInUse* table) {
    ShootRecord record;
    Samples tied;
    if (!tracks.empty() && !files.empty()) tied = usableSamples(files, tracks, arguments, record);
    const auto& samples = tied.of_plate;
    std::optional<io::CameraReport> kept;
    if (report) kept = reportOf(files, *report, record);

    const bool any = std::any_of(samples.begin(), samples.end(), [](const auto* s) { return s; });
    std::vector<io::LensTrack> in_order;
    if (any) in_order.push_back(trackInOrder(samples, tracks));
    for (const auto& track : tracks)
        record.set.warnings.insert(record.set.warnings.end(), track.warnings.begin(),
                                   track.warnings.end());
    PlateSet set =
        describeWithTable(files, in_order, kept ? &*kept : nullptr, arguments, table, record);
    record.set.plates = std::move(set.plates);
    record.set.warnings.insert(record.set.warnings.end(), set.warnings.begin(), set.warnings.end());

    record.has_sample.assign(files.size(), 0);
    int groups = 0;
    for (const auto& plate : record.set.plates) groups = std::max(groups, plate.lens_group + 1);
    for (size_t i = 0; any && i < files.size(); ++i) {
        record.has_sample[i] = samples[i] != nullptr;
        if (samples[i]) continue;
        record.set.plates[i].lens_group = groups++;
        record.set.plates[i].focal_sigma =
            std::max(record.set.plates[i].focal_sigma, kBorrowedSigma);
    }
    if (any) addStale(files, samples, record);
    return record;
}

}  // namespace plateloom::stitch
