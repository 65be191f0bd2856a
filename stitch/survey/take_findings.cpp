// What of a take has to be looked at, and what is worth knowing; the verdict.
#include <algorithm>
#include <cmath>

#include "calib/focus.h"
#include "calib/said.h"
#include "io/numbered_files.h"
#include "stitch/mount/overlap_distance.h"
#include "stitch/survey/take_survey.h"

namespace plateloom::stitch {

namespace {

std::vector<int64_t> framesOf(const std::vector<FrameRun>& runs) {
    std::vector<int64_t> frames;
    for (const auto& [first, last] : runs)
        for (int64_t frame = first; frame <= last; ++frame) frames.push_back(frame);
    return frames;
}

class Telling {
public:
    Telling(const Take& take, TakeSurvey& survey) : take_(take), survey_(survey) {}

    void tellAll() {
        tellPanorama();
        for (const SurveyedCamera& camera : survey_.cameras) {
            if (!camera.placed)
                add(FindingKind::not_tied, true, camera, {},
                    "has no place on the mount: " + camera.why,
                    "say where it looks, in its lens track or a camera report, or leave the clip "
                    "out; what only it sees stays empty");
            tellFrames(camera);
            tellKnocks(camera);
            tellRings(camera);
        }
        tellShake();
        tellParallax();
    }

private:
    void add(FindingKind kind, bool grave, const SurveyedCamera& camera,
             const std::vector<FrameRun>& frames, const std::string& what,
             const std::string& advice) {
        survey_.findings.push_back(
            {{kind, grave, {camera.name}, {}, {}, camera.name + " " + what, advice}, frames});
    }

    void tellPanorama() {
        if (!survey_.frames) return;
        std::vector<int64_t> gone;
        for (size_t i = 0; i < survey_.frames->each.size(); ++i)
            if (!survey_.frames->there[i]) gone.push_back(survey_.frames->each[i].frame);
        if (gone.empty()) return;
        survey_.findings.push_back(
            {{FindingKind::missing_plate,
              true,
              {},
              {},
              {},
              io::framesInWords(gone) + " of the panorama " + (gone.size() == 1 ? "is" : "are") +
                  " not there any more",
              "run the same stitch again with --resume: it makes what is missing"},
             runsFrom(gone)});
    }

    void tellFrames(const SurveyedCamera& camera) {
        struct Kind {
            FindingKind kind;
            bool grave;
            const std::vector<FrameRun>& runs;
            const char *what, *advice;
        };
        constexpr const char* kHole =
            "the other cameras show what they see of its part and the rest stays empty: look at "
            "these frames, and fill them by hand or take another take";
        for (const Kind& one :
             {Kind{FindingKind::missing_plate, true, camera.missing, "has no ", kHole},
              Kind{FindingKind::crushed, true, camera.black, "is black at ", kHole},
              Kind{FindingKind::damaged, true, camera.damaged, "can't be read at ",
                   "copy these frames again, and make them again with --resume"},
              Kind{FindingKind::duplicate, false, camera.doubled,
                   "shows the frame before again at ",
                   "look at what moves there: it stands still for a frame"}})
            if (!one.runs.empty())
                add(one.kind, one.grave, camera, one.runs,
                    one.what + io::framesInWords(framesOf(one.runs)), one.advice);
    }

    void tellKnocks(const SurveyedCamera& camera) {
        using As = SurveyedCamera::Knocked::As;
        for (const auto& knock : camera.knocks) {
            if (knock.frame > survey_.last) continue;
            if (knock.as != As::off && knock.frame < survey_.first) continue;
            std::string when = "frame " + std::to_string(knock.frame);
            if (const auto timecode = take_.timecodeAt(knock.frame))
                when += " (" + io::toString(*timecode) + ")";
            const std::string what =
                "was knocked at " + when +
                said(": it turned by %.3f degrees (%.1f px) against the others", knock.turn_deg,
                     knock.turn_px);
            // Frames that are off are all that follow, until the next knock.
            int64_t last = survey_.last;
            for (const auto& next : camera.knocks)
                if (next.frame > knock.frame) last = std::min(last, next.frame - 1);
            if (knock.as == As::taken_out)
                add(FindingKind::knocked, false, camera, {{knock.frame, knock.frame}},
                    what + "; taken out with its shake",
                    "look at that frame: the knock itself may smear");
            else if (knock.as == As::parts)
                add(FindingKind::knocked, false, camera, {{knock.frame, knock.frame}},
                    what + "; solved in two parts",
                    "look at its seams about that frame: the knock itself may smear");
            else
                add(FindingKind::knocked, true, camera,
                    {{std::max(knock.frame, survey_.first), last}}, what,
                    "from there on its seams are off: solve with --split-knocked and make the "
                    "frames again");
        }
    }

    // A ring that moves by more than this share was turned.
    void tellRings(const SurveyedCamera& camera) {
        constexpr double kStill = 0.01;
        struct Ring {
            FindingKind kind;
            const Course& course;
            double still;
            const char *what, *format;
        };
        const char* iris = camera.iris_in_t_stops ? "moves its iris during the take, from T"
                                                  : "moves its iris during the take, from f/";
        for (const Ring& ring :
             {Ring{FindingKind::focus, camera.focus_m, kStill,
                   "moves its focus during the take, from ", ""},
              Ring{FindingKind::iris, camera.iris, kStill, iris, "%.3g to %.3g"},
              // A lens that breathes changes its focal length by less than a zoom does.
              Ring{FindingKind::focal, camera.focal_course_mm, 5 * kStill,
                   "changes its focal length during the take, from ", "%.4g to %.4g mm"}}) {
            std::vector<double> values;
            for (const auto& [frame, value] : ring.course)
                if (value) values.push_back(*value);
            if (values.size() < 2) continue;
            const auto [least, most] = std::minmax_element(values.begin(), values.end());
            if (!(*most > *least * (1 + ring.still))) continue;
            add(ring.kind, false, camera, {},
                ring.what + (ring.kind == FindingKind::focus
                                 ? calib::focusSpanInWords(values.front(), values.back())
                                 : said(ring.format, values.front(), values.back())),
                "nothing, where it was meant to and its lens data say so: each frame has its own");
        }
    }

    void tellShake() {
        constexpr double kWorthSaying_px = 0.3;
        for (const auto& shake : survey_.shakes) {
            const std::string who = shake.camera < 0 ? std::string("the mount")
                                                     : survey_.cameras[size_t(shake.camera)].name;
            const auto tell = [&](const std::vector<FrameRun>& frames, const std::string& what,
                                  const std::string& advice) {
                std::vector<std::string> clips;
                if (shake.camera >= 0) clips.push_back(who);
                survey_.findings.push_back(
                    {{FindingKind::shake, false, clips, {}, {}, what, advice}, frames});
            };
            if (!shake.unknown.empty())
                tell(shake.unknown,
                     "how " + who + " shook is not known at " +
                         io::framesInWords(framesOf(shake.unknown)),
                     shake.steady.empty()
                         ? "nothing, as long as the shake stays in"
                         : "look whether the picture jumps there: its turn was taken from the "
                           "frames beside");
            if (shake.steady.empty() && shake.rms_px > kWorthSaying_px)
                tell({}, who + said(" shook by %.1f px RMS, and that stays in", shake.rms_px),
                     shake.camera < 0 ? "solve with --steady lock (or follow, for a mount that "
                                        "travels) to take it out"
                                      : "seams beside it swim: solve with --steady lock");
        }
    }

    void tellParallax() {
        constexpr double kWorthSaying_px = 1;
        for (const auto& overlap : survey_.overlaps) {
            if (!overlap.composed_px || *overlap.composed_px < kWorthSaying_px) continue;
            const std::string &a = survey_.cameras[size_t(overlap.a)].name,
                              &b = survey_.cameras[size_t(overlap.b)].name;
            const std::string agrees = distanceInWords(overlap.agrees_inverse);
            survey_.findings.push_back(
                {{FindingKind::parallax,
                  false,
                  {a, b},
                  overlap.pan_deg,
                  overlap.tilt_deg,
                  a + " | " + b +
                      said(": %.1f px of parallax are left, composed for ", *overlap.composed_px) +
                      distanceInWords(overlap.composed_inverse) + "; its ties agree best at " +
                      agrees + " (most of them " + distanceInWords(overlap.nearest_inverse) +
                      " to " + distanceInWords(overlap.farthest_inverse) + ")",
                  "look at this seam where something near crosses it; --distance " + a + ":" + b +
                      "=METRES composes it for what matters there"},
                 {}});
        }
    }

    const Take& take_;
    TakeSurvey& survey_;
};

std::string counted(int64_t count, const char* noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string verdictOf(const TakeSurvey& survey) {
    const auto grave = std::count_if(survey.findings.begin(), survey.findings.end(),
                                     [](const auto& finding) { return finding.grave; });
    if (grave > 0)
        return "Look at it: " + survey.findings.front().text +
               (grave > 1 ? " (and " + std::to_string(grave - 1) + " more)" : "");
    const auto placed = std::count_if(survey.cameras.begin(), survey.cameras.end(),
                                      [](const auto& camera) { return camera.placed; });
    const bool whole = survey.first == survey.take_first && survey.last == survey.take_last;
    std::string verdict = !survey.frames ? "The take is solved: "
                          : whole        ? "The moving panorama is whole: "
                                         : "This part of the moving panorama is whole: ";
    verdict += counted(survey.count(), "frame");
    if (!whole)
        verdict += " (" + std::to_string(survey.first) + " to " + std::to_string(survey.last) +
                   " of " + std::to_string(survey.take_first) + " to " +
                   std::to_string(survey.take_last) + ")";
    verdict += " from " + counted(placed, "camera");
    if (!survey.findings.empty())
        verdict += said("; %zu thing%s to know", survey.findings.size(),
                        survey.findings.size() == 1 ? "" : "s");
    return verdict;
}

}  // namespace

void addTakeFindings(const Take& take, TakeSurvey& survey) {
    Telling(take, survey).tellAll();
    std::stable_sort(survey.findings.begin(), survey.findings.end(),
                     [](const Finding& l, const Finding& r) {
                         return std::pair(!l.grave, int(l.kind)) < std::pair(!r.grave, int(r.kind));
                     });
    survey.verdict = verdictOf(survey);
}

}  // namespace plateloom::stitch
