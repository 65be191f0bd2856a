#include "io/sample_index.h"

#include <algorithm>
#include <cctype>
#include <set>
#include <tuple>

#include "io/file_name.h"

namespace plateloom::io {

namespace {

// Stands for "the track does not say": a label is then compared as it is written.
constexpr int kUnsaid = 1000;

bool before(const Timecode& a, const Timecode& b) {
    return std::tie(a.hours, a.minutes, a.seconds, a.frames) <
           std::tie(b.hours, b.minutes, b.seconds, b.frames);
}

}  // namespace

int64_t labelNumber(const Timecode& t, int counting) {
    return ((int64_t(t.hours) * 60 + t.minutes) * 60 + t.seconds) * counting + t.frames;
}

TimecodeIndex::TimecodeIndex(const std::vector<LensTrack>& tracks) {
    for (size_t t = 0; t < tracks.size(); ++t)
        for (const LensSample& sample : tracks[t].samples)
            if (sample.timecode) add({&sample, int(t)});
}

void TimecodeIndex::add(const FoundSample& found) {
    const LensSample& sample = *found.sample;
    const int counting = sample.frame_rate ? sample.frame_rate->counting() : kUnsaid;
    FoundSamples& here = tables_[counting][labelNumber(*sample.timecode, counting)];
    const auto rival = std::find_if(here.begin(), here.end(), [&](const FoundSample& f) {
        return f.track == found.track && f.sample->sub_frame != sample.sub_frame;
    });
    if (rival == here.end())
        here.push_back(found);
    else if (sample.sub_frame < rival->sample->sub_frame)
        *rival = found;
    if (!first_ || before(*sample.timecode, *first_->timecode)) first_ = &sample;
    if (!last_ || before(*last_->timecode, *sample.timecode)) last_ = &sample;
}

namespace {

// A plate's label in a track that counts otherwise; nothing where no label is at that moment.
std::optional<Timecode> labelAt(Timecode label, int plate_counting, int counting) {
    if (label.frames * counting % plate_counting != 0) return std::nullopt;
    label.frames = label.frames * counting / plate_counting;
    return label;
}

}  // namespace

FoundSamples TimecodeIndex::at(const Timecode& timecode, std::optional<FrameRate> rate,
                               bool as_written) const {
    FoundSamples out;
    for (const auto& [counting, table] : tables_) {
        const bool same_count = as_written || !rate || counting == kUnsaid;
        const auto label =
            same_count ? std::optional(timecode) : labelAt(timecode, rate->counting(), counting);
        if (!label) continue;
        const auto found = table.find(labelNumber(*label, counting));
        if (found != table.end()) out.insert(out.end(), found->second.begin(), found->second.end());
    }
    return out;
}

std::string TimecodeIndex::range() const {
    return toString(*first_->timecode) + " to " + toString(*last_->timecode);
}

TimelineIndex::TimelineIndex(const std::vector<LensTrack>& tracks,
                             std::optional<FrameRate> unsaid_rate) {
    for (size_t t = 0; t < tracks.size(); ++t)
        for (TrackTimeline& timeline : TrackTimeline::eachCamera(tracks[t], unsaid_rate))
            cameras_.push_back({std::move(timeline), int(t)});
}

TimelineIndex::Found TimelineIndex::at(const Moment& moment) const {
    Found found;
    for (const Camera& camera : cameras_) {
        SampleInTime here = camera.timeline.at(moment);
        if (here.gap && here.gap->from && here.gap->to && !found.gap) {
            found.gap = std::move(here.gap);
            found.gap_track = camera.track;
        } else if (here.sample()) {
            found.samples.push_back({*here.sample(), camera.track});
        }
    }
    return found;
}

NameIndex::NameIndex(const std::vector<LensTrack>& tracks) {
    for (size_t t = 0; t < tracks.size(); ++t)
        for (const LensSample& sample : tracks[t].samples) {
            std::set<std::string> names;
            for (const std::string& name : {sample.file, sample.clip}) {
                if (name.empty()) continue;
                names.insert(lowered(std::filesystem::path(name).filename().string()));
                names.insert(lowered(std::filesystem::path(name).stem().string()));
            }
            for (const std::string& name : names) table_[name].push_back({&sample, int(t)});
        }
}

const FoundSamples& NameIndex::of(const PlateFile& plate) const {
    static const FoundSamples none;
    for (const std::string& name :
         {plate.path.filename().string(), plate.path.stem().string(), plate.clip}) {
        const auto found = table_.find(lowered(name));
        if (!name.empty() && found != table_.end()) return found->second;
    }
    return none;
}

}  // namespace plateloom::io
