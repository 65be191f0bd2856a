#include "io/plate_samples.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "io/input_error.h"
#include "io/numbered_files.h"
#include "io/sample_agreement.h"
#include "io/sample_index.h"

namespace plateloom::io {

namespace {

std::string counted(size_t count, const char* noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::optional<int64_t> frameInName(const PlateFile& plate) {
    if (plate.movie_frame > 0) return plate.movie_frame;
    const auto name = numberedName(plate.path);
    return name ? std::optional(name->number) : std::nullopt;
}

// The candidates that all say the same, as one; else nothing.
std::optional<FoundSample> unanimous(const FoundSamples& candidates) {
    if (candidates.empty()) return std::nullopt;
    for (const FoundSample& other : candidates)
        if (!agree(*candidates.front().sample, *other.sample)) return std::nullopt;
    return candidates.front();
}

bool sameClip(const FoundSample& a, const FoundSample& b) {
    return a.track == b.track && !a.sample->clip.empty() && a.sample->clip == b.sample->clip &&
           a.sample->camera == b.sample->camera;
}

// Several samples of one name: the plate's frame number or timecode may tell them apart.
FoundSamples narrowed(const FoundSamples& candidates, const PlateFile& plate) {
    FoundSamples out;
    const auto frame = frameInName(plate);
    for (const FoundSample& one : candidates)
        if (frame && one.sample->frame == frame) out.push_back(one);
    return out.empty() ? candidates : out;
}

class Tying {
public:
    Tying(const std::vector<PlateFile>& plates, const std::vector<LensTrack>& tracks,
          bool one_camera)
        : plates_(plates),
          tracks_(tracks),
          one_camera_(one_camera),
          times_(tracks),
          names_(tracks) {
        constexpr FrameRate kFastest{120, 1};
        for (const PlateFile& plate : plates) {
            timecodes_.push_back(plate.timecode());
            auto& timecode = timecodes_.back();
            if (timecode && !exists(*timecode, plate.frame_rate.value_or(kFastest)))
                timecode.reset();
        }
    }

    PlateSamples tie() {
        const size_t with = size_t(std::count_if(timecodes_.begin(), timecodes_.end(),
                                                 [](const auto& t) { return t.has_value(); }));
        if (with > 0 && !times_.empty()) {
            if (with < 2 || !allAtOneTime()) return byTimecode(with);
            // Cameras that rolled together, or an exporter's 00:00:00:00 that tells nothing.
            try {
                return byTimecode(with);
            } catch (const InputError&) {
                timecodes_.assign(plates_.size(), std::nullopt);
            }
        }
        if (const auto tied = byName()) return *tied;
        return byOrder();
    }

private:
    [[nodiscard]] bool allAtOneTime() const {
        std::set<int64_t> labels;
        for (const auto& timecode : timecodes_)
            if (timecode) labels.insert(labelNumber(*timecode, 1000));
        return labels.size() == 1;
    }
    [[nodiscard]] std::string name(size_t plate) const {
        return plates_[plate].path.filename().string();
    }
    [[nodiscard]] std::string where(const FoundSample& found) const {
        return whereIs(tracks_[size_t(found.track)], *found.sample);
    }
    [[nodiscard]] std::string trackNames() const {
        return tracks_.size() == 1 ? tracks_.front().path.string()
                                   : counted(tracks_.size(), "lens track");
    }

    PlateSamples byTimecode(size_t with) const {
        PlateSamples tied = begun(PlateSamples::TiedBy::timecode);
        std::vector<size_t> unmatched = putByLabel(&tied, false);
        std::string how;
        if (!unmatched.empty()) {
            const size_t between = unmatched.size();
            unmatched = putBetween(&tied, unmatched);
            if (unmatched.empty()) how = ", " + std::to_string(between) + " between two samples";
        }
        // Some files state a rate that is not theirs; the labels of stills are right all the same.
        if (unmatched.size() == with && putByLabel(&tied, true).empty()) {
            unmatched.clear();
            how = ", labels as they are written (the frame rates of plates and track differ)";
        }
        if (!unmatched.empty()) refuseUnmatched(unmatched, with);
        if (!one_camera_) refuseShared(tied);
        size_t by_name = 0;
        for (size_t i = 0; i < plates_.size(); ++i) {
            if (timecodes_[i]) continue;
            const auto found = unanimous(narrowed(names_.of(plates_[i]), plates_[i]));
            if (!found)
                throw InputError(plates_[i].path.string(),
                                 "has no timecode while other plates do, and no lens sample names "
                                 "its file or clip; name it in the track, or leave the plate out");
            put(&tied, i, *found);
            ++by_name;
        }
        tied.said = counted(with, "plate") + " tied to lens samples by timecode" + how +
                    (by_name ? ", " + std::to_string(by_name) + " by name" : "");
        return tied;
    }

    // Returns the plates at whose label no sample is.
    std::vector<size_t> putByLabel(PlateSamples* tied, bool as_written) const {
        std::vector<size_t> unmatched;
        for (size_t i = 0; i < plates_.size(); ++i) {
            if (!timecodes_[i]) continue;
            const auto here = times_.at(*timecodes_[i], plates_[i].frame_rate, as_written);
            if (here.empty())
                unmatched.push_back(i);
            else
                put(tied, i, atOneTime(i, here));
        }
        return unmatched;
    }

    // Returns the plates that no track covers.
    std::vector<size_t> putBetween(PlateSamples* tied, const std::vector<size_t>& plates) const {
        const TimelineIndex& timelines = inTime();
        std::vector<size_t> uncovered;
        for (const size_t i : plates) {
            const Moment moment{timecodes_[i], plates_[i].frame_rate, {}};
            const TimelineIndex::Found found = timelines.at(moment);
            if (found.samples.empty())
                uncovered.push_back(i);
            else
                putOwned(tied, i, found);
        }
        return uncovered;
    }

    // A blended sample belongs to nobody else: it is kept with the answer.
    void putOwned(PlateSamples* tied, size_t plate, const TimelineIndex::Found& found) const {
        FoundSamples here;
        for (const auto& one : found.samples) {
            tied->between.push_back(std::make_shared<const LensSample>(one.sample));
            here.push_back({tied->between.back().get(), one.track});
        }
        put(tied, plate, atOneTime(plate, here));
    }

    [[nodiscard]] const TimelineIndex& inTime() const {
        if (!timelines_) {
            std::optional<FrameRate> rate;
            for (const PlateFile& plate : plates_)
                if (!rate) rate = plate.frame_rate;
            timelines_.emplace(tracks_, rate);
        }
        return *timelines_;
    }

    [[nodiscard]] FoundSample atOneTime(size_t plate, const FoundSamples& here) const {
        if (const auto found = unanimous(here)) return *found;
        // Several cameras rolled together: the plate's name may tell whose sample it is.
        FoundSamples named;
        for (const FoundSample& by_name : names_.of(plates_[plate]))
            for (const FoundSample& by_time : here)
                if (by_name.sample == by_time.sample || sameClip(by_name, by_time))
                    named.push_back(by_time);
        if (const auto found = unanimous(named)) return *found;
        const auto other = std::find_if(here.begin(), here.end(), [&](const FoundSample& f) {
            return !agree(*here.front().sample, *f.sample);
        });
        throw InputError(where(here.front()),
                         "contradicts " + where(*other) + ": both are at " +
                             toString(*timecodes_[plate]) + ", the timecode of " + name(plate) +
                             "; keep one, or name the plate's clip in its own");
    }

    void refuseUnmatched(const std::vector<size_t>& unmatched, size_t with) const {
        refuseGap(unmatched);
        const size_t first = unmatched.front();
        const std::string range = "; the samples run from " + times_.range();
        if (unmatched.size() == with)
            throw InputError(trackNames(), "no sample has a timecode of the plates (" +
                                               name(first) + " is at " +
                                               toString(*timecodes_[first]) + range +
                                               "); give the track that was recorded with them");
        throw InputError(
            plates_[first].path.string(),
            "no lens sample at its timecode " + toString(*timecodes_[first]) + range +
                (unmatched.size() > 1
                     ? " (and so for " + std::to_string(unmatched.size() - 1) + " more)"
                     : "") +
                "; add the missing part of the track, or leave the plate out");
    }

    // A gap within a track says more than where all of the samples begin and end.
    void refuseGap(const std::vector<size_t>& unmatched) const {
        for (const size_t i : unmatched) {
            const Moment moment{timecodes_[i], plates_[i].frame_rate, frameInName(plates_[i])};
            const TimelineIndex::Found found = inTime().at(moment);
            if (!found.gap) continue;
            throw InputError(
                plates_[i].path.string(),
                "its " + std::string(moment.timecode ? "timecode " : "") + toString(moment) +
                    " falls into a gap of " + tracks_[size_t(found.gap_track)].path.string() +
                    ": " + found.gap->said() +
                    (unmatched.size() > 1
                         ? " (" + std::to_string(unmatched.size()) + " plates are without a sample)"
                         : "") +
                    "; add the missing part of the track, or leave the plate out");
        }
    }

    void refuseShared(const PlateSamples& tied) const {
        std::map<const LensSample*, size_t> owner;
        for (size_t i = 0; i < plates_.size(); ++i) {
            if (!tied.sample[i]) continue;
            const auto [first, is_new] = owner.emplace(tied.sample[i], i);
            if (!is_new)
                throw InputError(plates_[i].path.string(),
                                 "bears the same timecode as " + name(first->second) + " (" +
                                     toString(*timecodes_[i]) +
                                     "), and only one lens sample is there; add the track of its "
                                     "camera, or leave one of the plates out");
        }
    }

    [[nodiscard]] std::optional<PlateSamples> byName() const {
        PlateSamples tied = begun(PlateSamples::TiedBy::name);
        std::vector<size_t> unnamed, ambiguous;
        for (size_t i = 0; i < plates_.size(); ++i) {
            const FoundSamples candidates = narrowed(names_.of(plates_[i]), plates_[i]);
            if (candidates.empty())
                unnamed.push_back(i);
            else if (const auto found = unanimous(candidates))
                put(&tied, i, *found);
            else
                ambiguous.push_back(i);
        }
        if (unnamed.size() == plates_.size()) return byFrame();
        if (!unnamed.empty())
            throw InputError(plates_[unnamed.front()].path.string(),
                             "no lens sample names its file or clip, though other plates are "
                             "named; add it to the track, or leave the plate out");
        if (!ambiguous.empty()) orderWithinNames(&tied, ambiguous);
        tied.said = counted(plates_.size(), "plate") + " tied to lens samples by name";
        return tied;
    }

    // Frames of one clip whose samples are as many as its plates, in the same order.
    void orderWithinNames(PlateSamples* tied, const std::vector<size_t>& ambiguous) const {
        std::map<const FoundSamples*, std::vector<size_t>> sharing;
        for (const size_t i : ambiguous) sharing[&names_.of(plates_[i])].push_back(i);
        for (const auto& [candidates, plates] : sharing) {
            if (candidates->size() != plates.size())
                throw InputError(plates_[plates.front()].path.string(),
                                 "its clip has " + std::to_string(candidates->size()) +
                                     " different lens samples and " +
                                     counted(plates.size(), "plate") +
                                     "; add timecodes or frame numbers that tell which is whose");
            for (size_t k = 0; k < plates.size(); ++k) put(tied, plates[k], (*candidates)[k]);
        }
    }

    // No names, but frame numbers in the samples and at the end of the files' names.
    [[nodiscard]] std::optional<PlateSamples> byFrame() const {
        std::map<int64_t, FoundSamples> frames;
        for (size_t t = 0; t < tracks_.size(); ++t)
            for (const LensSample& sample : tracks_[t].samples)
                if (sample.frame) frames[*sample.frame].push_back({&sample, int(t)});
        if (frames.empty()) return std::nullopt;
        PlateSamples tied = begun(PlateSamples::TiedBy::name);
        std::vector<size_t> unmatched;
        for (size_t i = 0; i < plates_.size(); ++i) {
            const auto number = frameInName(plates_[i]);
            if (!number) return std::nullopt;
            const auto found = frames.find(*number);
            const auto one = found == frames.end() ? std::nullopt : unanimous(found->second);
            if (found != frames.end() && !one) return std::nullopt;
            if (one)
                put(&tied, i, *one);
            else
                unmatched.push_back(i);
        }
        if (!putBetweenFrames(&tied, unmatched)) return std::nullopt;
        tied.said = counted(plates_.size(), "plate") +
                    " tied to lens samples by the frame numbers in their names";
        return tied;
    }

    // False when the numbers seem to be others: none of the plates' is within the track.
    bool putBetweenFrames(PlateSamples* tied, const std::vector<size_t>& unmatched) const {
        std::vector<size_t> uncovered;
        for (const size_t i : unmatched) {
            const auto found = inTime().at({{}, {}, frameInName(plates_[i])});
            if (found.samples.empty())
                uncovered.push_back(i);
            else
                putOwned(tied, i, found);
        }
        if (uncovered.size() == plates_.size()) return false;
        if (!uncovered.empty()) refuseNumbers(uncovered);
        return true;
    }

    [[noreturn]] void refuseNumbers(const std::vector<size_t>& uncovered) const {
        refuseGap(uncovered);
        throw InputError(plates_[uncovered.front()].path.string(),
                         "no lens sample has its frame number, though other plates have theirs; "
                         "add it to the track, or leave the plate out");
    }

    [[nodiscard]] PlateSamples byOrder() const {
        FoundSamples all;
        for (size_t t = 0; t < tracks_.size(); ++t)
            for (const LensSample& sample : tracks_[t].samples) all.push_back({&sample, int(t)});
        const bool lens_alone = all.size() == 1 && plates_.size() != 1 && !all[0].sample->pose &&
                                !all[0].sample->timecode && all[0].sample->file.empty();
        PlateSamples tied =
            begun(lens_alone ? PlateSamples::TiedBy::only : PlateSamples::TiedBy::order);
        if (!lens_alone && all.size() != plates_.size()) {
            const FoundSamples takes = oneATake();
            if (takes.size() == plates_.size()) {
                for (size_t i = 0; i < takes.size(); ++i) put(&tied, i, takes[i]);
                tied.said = counted(plates_.size(), "plate") +
                            " tied by order to as many takes in the lens track: neither timecodes "
                            "nor names tell which is whose";
                return tied;
            }
            throw InputError(
                trackNames(),
                "holds " + counted(all.size(), "lens sample") + " for " +
                    counted(plates_.size(), "plate") +
                    ", and neither timecodes nor names tell which is whose (" + name(0) +
                    " is the first without); give one sample a plate, or add timecodes or a file "
                    "column");
        }
        for (size_t i = 0; i < plates_.size(); ++i) put(&tied, i, all[lens_alone ? 0 : i]);
        tied.said = lens_alone ? "one lens for " + counted(plates_.size(), "plate")
                               : counted(plates_.size(), "plate") +
                                     " tied to lens samples by order: neither timecodes nor names "
                                     "tell which is whose";
        return tied;
    }

    // The middle sample of each run of samples without a gap: a camera that rolled a little on
    // every plate leaves as many runs as there are plates.
    [[nodiscard]] FoundSamples oneATake() const {
        FoundSamples takes;
        for (size_t t = 0; t < tracks_.size(); ++t) {
            FoundSamples run;
            for (const LensSample& sample : tracks_[t].samples) {
                if (!run.empty() && gapBetween(*run.back().sample, sample)) {
                    takes.push_back(run[run.size() / 2]);
                    run.clear();
                }
                run.push_back({&sample, int(t)});
            }
            if (!run.empty()) takes.push_back(run[run.size() / 2]);
        }
        return takes;
    }
    // More than two frames; samples without timecodes tell no takes.
    [[nodiscard]] static bool gapBetween(const LensSample& a, const LensSample& b) {
        constexpr int64_t kFrames = 2;
        if (!a.timecode || !b.timecode) return false;
        const int counting = b.frame_rate ? b.frame_rate->counting() : 1000;
        return std::abs(labelNumber(*b.timecode, counting) - labelNumber(*a.timecode, counting)) >
               kFrames;
    }

    [[nodiscard]] PlateSamples begun(PlateSamples::TiedBy tied_by) const {
        PlateSamples tied;
        tied.tied_by = tied_by;
        tied.sample.assign(plates_.size(), nullptr);
        tied.track.assign(plates_.size(), 0);
        return tied;
    }
    static void put(PlateSamples* tied, size_t plate, const FoundSample& found) {
        tied->sample[plate] = found.sample;
        tied->track[plate] = found.track;
    }

    const std::vector<PlateFile>& plates_;
    const std::vector<LensTrack>& tracks_;
    bool one_camera_;
    TimecodeIndex times_;
    NameIndex names_;
    mutable std::optional<TimelineIndex> timelines_;  // made when a plate lies between samples
    std::vector<std::optional<Timecode>> timecodes_;
};

}  // namespace

PlateSamples tieSamples(const std::vector<PlateFile>& plates, const std::vector<LensTrack>& tracks,
                        bool one_camera) {
    return Tying(plates, tracks, one_camera).tie();
}

}  // namespace plateloom::io
