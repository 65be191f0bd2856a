#include "io/sample_index.h"

#include <algorithm>
#include <cctype>
#include <set>
#include <tuple>

namespace plateloom::io {

namespace {

std::string lower(std::string text) {
    for (char& c : text) c = char(std::tolower(static_cast<unsigned char>(c)));
    return text;
}

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
    const int counting = sample.frame_rate.value_or(FrameRate{}).counting();
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

FoundSamples TimecodeIndex::at(const Timecode& timecode, std::optional<FrameRate> rate) const {
    FoundSamples out;
    for (const auto& [counting, table] : tables_) {
        Timecode label = timecode;
        const int plate_counting = rate ? rate->counting() : counting;
        if (counting % plate_counting == 0)
            label.frames *= counting / plate_counting;
        else if (plate_counting % counting == 0)
            label.frames /= plate_counting / counting;
        const auto found = table.find(labelNumber(label, counting));
        if (found != table.end()) out.insert(out.end(), found->second.begin(), found->second.end());
    }
    return out;
}

std::string TimecodeIndex::range() const {
    return toString(*first_->timecode) + " to " + toString(*last_->timecode);
}

NameIndex::NameIndex(const std::vector<LensTrack>& tracks) {
    for (size_t t = 0; t < tracks.size(); ++t)
        for (const LensSample& sample : tracks[t].samples) {
            std::set<std::string> names;
            for (const std::string& name : {sample.file, sample.clip}) {
                if (name.empty()) continue;
                names.insert(lower(std::filesystem::path(name).filename().string()));
                names.insert(lower(std::filesystem::path(name).stem().string()));
            }
            for (const std::string& name : names) table_[name].push_back({&sample, int(t)});
        }
}

const FoundSamples& NameIndex::of(const PlateFile& plate) const {
    static const FoundSamples none;
    for (const std::string& name :
         {plate.path.filename().string(), plate.path.stem().string(), plate.clip}) {
        const auto found = table_.find(lower(name));
        if (!name.empty() && found != table_.end()) return found->second;
    }
    return none;
}

}  // namespace plateloom::io
