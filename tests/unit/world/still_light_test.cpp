#include "world/still_light.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "world/array_recording.h"
#include "world/view_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

// Relative differences of the green channel, sorted.
std::vector<double> differences(const io::Picture& a, const io::Picture& b) {
    std::vector<double> all;
    for (size_t i = 1; i < a.data.size(); i += 3)
        all.push_back(std::abs(a.data[i] - b.data[i]) / (a.data[i] + 0.005));
    std::sort(all.begin(), all.end());
    return all;
}

}  // namespace

TEST_CASE("Frames looked up in still light are those of the scene: same place, same light, movers",
          "[array]") {
    for (const bool moves : {false, true}) {
        ArraySettings s;
        s.width_px = 480;
        s.height_px = 270;
        s.noise = 0;
        s.samples = 3;
        s.shake.reach_deg = 0.6;
        s.moves = moves;
        const ArrayTake take = planArray(s);
        const Scene scene(take.scene);
        const Clip& clip = take.clips[2];
        const PlannedPlate& plate = clip.shoot.plates[24];
        const RenderSettings render = renderSettings(clip.shoot, plate);
        const calib::LensMap lens(plate.lens, clip.shoot.sensor);
        const calib::Matrix3d worldFromCamera = calib::worldFromCamera(plate.pose);
        const StillLight still(scene, lens, calib::worldFromCamera(clip.on_mount), clip.pupil_m, 14,
                               render);
        const io::Picture exact =
            renderLight(scene, lens, worldFromCamera, plate.origin_m, plate.time_s, render);
        const io::Picture found = still.light(worldFromCamera, plate.origin_m, plate.time_s);
        const auto off = differences(exact, found);
        CHECK(off[off.size() / 2] < 0.02);
        CHECK(off[off.size() * 95 / 100] < 0.12);
        const ViewErrors errors = compareView(found, exact);
        CHECK(errors.covered == 1);
        CHECK(errors.patches.size() > 100);
        CHECK(errors.median_area_light < 0.003);
        // Had the pupil's way not been followed, lamps and walls would lie 0.03 to 0.05 off.
        if (!moves) CHECK(largestZone_px(zonesOf(errors.patches, 480, 270)) < 0.02);
        // Without whoever moves the two differ widely in places.
        if (moves) {
            const io::Picture empty =
                renderLight(scene, lens, worldFromCamera, plate.origin_m, std::nullopt, render);
            CHECK(differences(empty, found)[off.size() * 995 / 1000] > 0.3);
        }
    }
}
