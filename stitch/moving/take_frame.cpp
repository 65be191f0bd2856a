#include "stitch/moving/take_frame.h"

#include <algorithm>

namespace plateloom::stitch {

namespace {

bool isBlack(const std::vector<BlackRun>& runs, int clip, int64_t frame) {
    return std::any_of(runs.begin(), runs.end(), [&](const BlackRun& run) {
        return run.clip == clip && run.first <= frame && frame <= run.last;
    });
}

io::PlatePixels nothing(const calib::Sensor& sensor) {
    io::PlatePixels pixels;
    pixels.width = sensor.width_px;
    pixels.height = sensor.height_px;
    pixels.half.assign(size_t(pixels.width) * pixels.height * 4, 0);
    return pixels;
}

}  // namespace

TakeFrame takeFrame(const Take& take, const SolvedTake& solved, int64_t frame) {
    const Moment moment = take.at(frame);
    TakeFrame out;
    out.frame = frame;
    for (size_t c = 0; c < solved.mount.cameras.size(); ++c) {
        const auto& camera = solved.mount.cameras[c];
        if (!camera.placed) continue;
        const auto found = std::find(moment.clip.begin(), moment.clip.end(), int(c));
        const bool there = found != moment.clip.end();
        PlacedPlate placed;
        placed.plate = int(out.plates.size());
        calib::Lens lens = camera.lens.lens;
        calib::Sensor sensor = camera.sensor;
        std::optional<double> stops;
        if (there) {
            const Plate& plate = moment.plates[size_t(found - moment.clip.begin())];
            lens = lensOf(plate, camera.lens);
            sensor.width_px = plate.file.width;
            sensor.height_px = plate.file.height;
            stops = plate.exposure_stops;
            out.files.push_back(plate.file);
        } else {
            out.files.emplace_back();
        }
        placed.lens = calib::LensMap(lens, sensor);
        const auto index = size_t(frame - take.first);
        placed.worldFromCamera = solved.taken_out.at(c, index) * camera.at(frame);
        placed.gain = solved.light[c].gainAt(frame, stops);
        if (camera.pupil_m) {
            placed.pupil_m = solved.taken_out.sharedAt(index) * *camera.pupil_m;
            placed.distance = solved.distance;
        }
        out.clip.push_back(int(c));
        out.stops.push_back(stops);
        out.absent.push_back(!there || isBlack(solved.black, int(c), frame));
        out.plates.push_back(std::move(placed));
    }
    auto reader = [files = out.files, absent = out.absent, plates = out.plates](int plate) {
        if (absent[size_t(plate)]) return nothing(plates[size_t(plate)].lens.sensor());
        return io::readPlatePixels(files[size_t(plate)]);
    };
    out.store = std::make_shared<PlateStore>(std::move(reader));
    return out;
}

std::vector<PlacedPlate> standingPlates(const SolvedTake& solved) {
    std::vector<PlacedPlate> plates;
    for (size_t c = 0; c < solved.mount.cameras.size(); ++c) {
        const auto& camera = solved.mount.cameras[c];
        if (!camera.placed) continue;
        PlacedPlate placed;
        placed.plate = int(plates.size());
        placed.lens = calib::LensMap(camera.lens.lens, camera.sensor);
        placed.worldFromCamera = camera.standing.front().mountFromCamera;
        if (camera.pupil_m) {
            placed.pupil_m = *camera.pupil_m;
            placed.distance = solved.distance;
        }
        plates.push_back(std::move(placed));
    }
    return plates;
}

}  // namespace plateloom::stitch
