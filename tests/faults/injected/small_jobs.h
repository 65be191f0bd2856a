// A quick job of each command in one folder, for tests that let it fail or end it anywhere: what it
// reads, what it writes, and whether each output is whole afterwards.
#pragma once

#include <algorithm>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "io/made_mark.h"
#include "io/plate_file.h"
#include "tests/shoot_on_disk.h"
#include "world/array_recording.h"
#include "world/array_take.h"
#include "world/flat_field.h"
#include "world/lens_charts.h"

namespace plateloom::test {

namespace fs = std::filesystem;

struct SmallJob {
    std::string name, arguments;
    std::vector<std::pair<fs::path, io::Made>> outputs;
    bool resumes = false;
};

class SmallJobs {
public:
    SmallJobs() {
        writePlates();
        writeLensPictures();
        const std::string lens = " --lens " + in("lens.jsonl");
        add("plan", "plan --sensor 36x20.25 --size 480x270 --focal 28 -o " + in("plan"),
            {{"plan/report.csv", io::Made::plan},
             {"plan/poses.jsonl", io::Made::plan},
             {"plan/plan.html", io::Made::plan}});
        add("solve", "solve " + in("plates") + lens + " -o " + in("solve.jsonl"),
            {{"solve.jsonl", io::Made::solve}});
        add("stitch",
            "stitch " + in("plates") + lens + " --width 256 -o " + in("pano.exr") + " --report " +
                in("page"),
            {{"pano.exr", io::Made::panorama},
             {"pano.preview.png", io::Made::preview},
             {"page/index.html", io::Made::page}});
        add("view",
            "view " + in("world.exr") + " --camera " + in("camera.csv") +
                " --sensor 36x20.25 --size 64x36 --sheet " + in("sheet.png") + " --uv-map " +
                in("maps") + " -o " + in("bg.####.exr"),
            {{"bg.1001.exr", io::Made::view},
             {"bg.1002.exr", io::Made::view},
             {"sheet.png", io::Made::sheet},
             {"maps/bg.view-uv.1001.exr", io::Made::map},
             {"maps/bg.unflatten-shading.1001-1002.exr", io::Made::map}},
            true);
        add("flatten", "flatten " + in("plates") + lens + " -o " + in("flat"),
            flatOutputs("flat", io::Made::flat_plate), true);
        add("unflatten", "unflatten " + in("plates") + lens + " -o " + in("back"),
            flatOutputs("back", io::Made::frame), true);
        add("check", "check " + in("plates") + lens + " --report " + in("checked"),
            {{"checked/index.html", io::Made::page}});
        add("shading", "calibrate shading " + in("field.exr") + " -o " + in("shading.json"),
            {{"shading.json", io::Made::lens_table}});
        add("chart",
            "calibrate chart " + in("charts") +
                " --board checker --squares 11x7 --sensor 36x20.25 --focal 28 --focus 2 -o " +
                in("chart.json"),
            {{"chart.json", io::Made::lens_table}});
        const auto made = run("stitch " + in("plates") + lens + " --width 256 --no-preview -o " +
                              in("world.exr"));
        if (made.status > 1) throw std::runtime_error(made.err);
    }

    /// Takes some seconds more: clips, solved and stitched.
    void addTake() {
        world::ArraySettings settings;
        settings.cameras = 2;
        settings.frames = 4;
        settings.width_px = 320;
        settings.height_px = 180;
        settings.iris_frames = 2;
        const auto take = world::planArray(settings);
        world::writeTake(folder_ / "take", take);
        std::string clips = in("take") + " --clips array";
        for (const auto& clip : take.clips)
            clips += " --lens " + in("take/" + clip.name + ".jsonl");
        add("solve clips", "solve " + clips + " -o " + in("mount.jsonl"),
            {{"mount.jsonl", io::Made::solve}});
        add("stitch clips",
            "stitch " + clips + " --width 256 --solve " + in("still.jsonl") + " -o " +
                in("clips.####.exr"),
            {{"clips.1001.exr", io::Made::panorama},
             {"clips.1002.exr", io::Made::panorama},
             {"clips.1001.jpg", io::Made::preview}},
            true);
        const auto made = run("solve " + clips + " -o " + in("still.jsonl"));
        if (made.status > 1) throw std::runtime_error(made.err);
        add("stitch chunk", jobs_.back().arguments + " --chunk 2/2",
            {{"clips.1003.exr", io::Made::panorama}}, true);
    }

    [[nodiscard]] const fs::path& folder() const { return folder_.path(); }
    [[nodiscard]] const std::vector<SmallJob>& jobs() const { return jobs_; }

    /// What a killed or failed run must not leave.
    [[nodiscard]] std::vector<fs::path> leftovers() const {
        std::vector<fs::path> found;
        for (const auto& entry : fs::recursive_directory_iterator(folder_.path()))
            if (entry.path().filename().string().starts_with(".")) found.push_back(entry.path());
        return found;
    }

private:
    [[nodiscard]] std::string in(const std::string& name) const { return quoted(folder_ / name); }

    void add(const std::string& name, const std::string& arguments,
             const std::vector<std::pair<std::string, io::Made>>& outputs, bool resumes = false) {
        SmallJob job{name, arguments, {}, resumes};
        for (const auto& [path, kind] : outputs) job.outputs.emplace_back(folder_ / path, kind);
        jobs_.push_back(std::move(job));
    }

    [[nodiscard]] std::vector<std::pair<std::string, io::Made>> flatOutputs(const std::string& to,
                                                                            io::Made kind) const {
        std::vector<std::pair<std::string, io::Made>> outputs;
        for (const auto& entry : fs::directory_iterator(folder_ / "plates"))
            outputs.emplace_back(to + "/" + entry.path().filename().string(), kind);
        return outputs;
    }

    void writePlates() {
        auto settings = ringSettings();
        settings.width_px = 240;
        settings.height_px = 135;
        const auto shoot = world::planShoot(settings);
        const world::Scene scene(settings.scene);
        fs::create_directory(folder_ / "plates");
        for (const size_t i : {0, 1})
            world::writePlateExr(folder_ / "plates" / shoot.plates[i].file,
                                 world::recordPlate(shoot, scene, i), shoot.plates[i],
                                 settings.rate);
        world::writeLensTrack(folder_ / "lens.jsonl", shoot, {});
        put(folder_ / "camera.csv",
            "frame,pan_deg,tilt_deg,roll_deg,focal_mm\n1001,0,0,0,30\n1002,4,1,0,30\n");
    }

    void writeLensPictures() {
        const calib::Sensor sensor{36, 20.25, 480, 270};
        const calib::Lens lens = world::inventedLens(
            world::LensLook::barrel, calib::DistortionDirection::recorded_to_flat, 28, 2, 2.8);
        const calib::LensMap map(lens, sensor);
        world::FlatField field;
        world::writePrepExr(folder_ / "field.exr", renderField(map, field), lens, 28, sensor);
        fs::create_directory(folder_ / "charts");
        const world::Board board{world::BoardKind::checkerboard, 12, 8, 0.05};
        world::ChartRender render;
        render.samples = 1;
        int number = 1;
        for (const double yaw_deg : {-25.0, -10.0, 12.0, 28.0})
            world::writePrepExr(
                folder_ / ("charts/board." + std::to_string(number++) + ".exr"),
                world::renderChart(
                    board, world::boardPose(map, yaw_deg / 300, 0, 0.75, yaw_deg, yaw_deg / 2, 0),
                    map, render),
                lens, 28, sensor);
    }

    Folder folder_;
    std::vector<SmallJob> jobs_;
};

}  // namespace plateloom::test
