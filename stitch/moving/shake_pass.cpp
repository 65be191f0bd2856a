#include "stitch/moving/shake_pass.h"

#include <tbb/parallel_for.h>

#include "stitch/job/stage_clock.h"

namespace plateloom::stitch {

std::vector<ShakeView> shakeViews(const TakeFrame& frame, const Mount& mount,
                                  const std::vector<int>& shown) {
    std::vector<ShakeView> views(shown.size());
    tbb::parallel_for(size_t(0), shown.size(), [&](size_t k) {
        const auto i = size_t(shown[k]);
        const auto clip = size_t(frame.clip[i]);
        const auto& lens = frame.plates[i].lens;
        views[k] = {
            int(clip), lens, mount.cameras[clip].at(frame.frame),
            std::make_shared<const LightPicture>(lightPicture(*frame.store->get(int(i)), lens))};
    });
    return views;
}

std::vector<ShakeFrame> shakeOfEach(const Take& take, const FirstMoment& first,
                                    const Progress& progress, std::vector<StageTime>* times) {
    SolvedTake solved;
    solved.mount.cameras = first.cameras;
    solved.light.assign(take.clips.size(), CameraLight{{GainKey{}}, {}});
    ShakeTracker tracker(int(take.clips.size()), true);
    StageClock clock(progress);
    clock.begin("each take's own shake");
    std::vector<ShakeFrame> shake;
    for (int64_t number = take.first; number <= take.last; ++number) {
        clock.tell(double(number - take.first) / double(take.frames()));
        const TakeFrame frame = takeFrame(take, solved, number);
        std::vector<int> shown;
        for (size_t i = 0; i < frame.plates.size(); ++i) {
            if (frame.absent[i]) continue;
            shown.push_back(int(i));
            clock.add(double(frame.plates[i].lens.sensor().width_px) *
                      frame.plates[i].lens.sensor().height_px);
        }
        shake.push_back(tracker.add(number, shakeViews(frame, solved.mount, shown)));
    }
    clock.end();
    if (times) times->insert(times->end(), clock.times().begin(), clock.times().end());
    return shake;
}

}  // namespace plateloom::stitch
