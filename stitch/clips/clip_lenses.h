// Which lens samples are whose: each clip of a take ties to its own lens track, and each of its
// frames to a sample of that.
//
// A clip's track is the one that names it (the samples' clip or file, else the track's own file
// name), else the one whose samples name its camera, else, where there are as many tracks as clips,
// the one in its place. A track that holds several clips or cameras is taken apart first, so that
// one file may serve all clips. Clips shot in turn share one camera: where timecodes tell which
// sample is whose, all tracks are theirs together. One sample without a time is a lens that holds
// for every frame.
//
// Within a clip the timecode ties, else the frame number, else, where there are as many samples as
// frames, the order. Between two samples of a running track the lens is between them; gaps are
// never bridged (io/track_timeline.h).
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/clip.h"
#include "io/lens_track.h"
#include "stitch/clips/clip_times.h"

namespace plateloom::stitch {

class ClipLenses {
public:
    /// Throws io::InputError where it is ambiguous which track is a clip's, or nothing ties its
    /// frames to samples.
    ClipLenses(const std::vector<io::LensTrack>& tracks, std::vector<io::Clip> clips,
               Rolled rolled);
    ~ClipLenses();
    ClipLenses(const ClipLenses&) = delete;
    ClipLenses& operator=(const ClipLenses&) = delete;

    /// "cam1: tied to its lens track cam1.jsonl by timecode".
    [[nodiscard]] const std::vector<std::string>& notes() const { return notes_; }

    /// Where each clip's lens data come from: "its lens track cam1.jsonl by timecode"; "" where
    /// there are no tracks.
    [[nodiscard]] const std::vector<std::string>& sources() const { return sources_; }

    struct Sample {
        io::LensSample sample;
        std::string where;  ///< "TRACK:LINE (sample N)"
        std::string track;  ///< its file
    };
    /// The sample of a clip's frame; nothing where there are no lens tracks at all. `file` is the
    /// frame's header, or the clip's first one's: then the timecode is counted from there. Throws
    /// io::InputError for a frame that the track leaves out. Safe from several threads.
    [[nodiscard]] std::optional<Sample> at(size_t clip, int64_t number,
                                           const io::PlateFile& file) const;

    /// Frames of a clip, between two numbers, that its track leaves out, and why the first of them
    /// is.
    struct Gap {
        std::vector<int64_t> numbers;
        std::string why;
    };
    [[nodiscard]] Gap gapsOf(size_t clip, int64_t first, int64_t last) const;

private:
    struct Stream;
    struct Tie;
    struct Found;

    void takeApart(const std::vector<io::LensTrack>& tracks);
    void share(Rolled rolled);
    [[nodiscard]] bool shareByName();
    [[nodiscard]] bool shareByCamera();
    [[nodiscard]] bool shareByOrder();
    [[nodiscard]] bool serveAll(Rolled rolled);
    [[nodiscard]] bool give(const std::vector<std::vector<size_t>>& streams,
                            const std::string& how);
    [[nodiscard]] Tie tieOf(size_t clip, size_t stream) const;
    [[nodiscard]] Found find(size_t clip, int64_t number, const io::PlateFile& file) const;

    std::vector<io::Clip> clips_;
    std::vector<std::unique_ptr<Stream>> streams_;
    std::vector<std::vector<Tie>> ties_;  // one a clip
    std::vector<std::string> notes_, sources_;
    size_t tracks_ = 0;
};

}  // namespace plateloom::stitch
