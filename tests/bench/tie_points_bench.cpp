// How good tie points are on rendered plates whose true cameras are known, and how long each stage
// takes.
//
//     tie_points_bench FOLDER [TOLERANCE_PX] [WRONG_PX] [SEARCH_PX]
//
// FOLDER holds plates, lens.jsonl or lens.csv (absent: the true focal length alone is used for
// matching) and truth/poses.csv (file, pan_deg, tilt_deg, roll_deg, focal_px). Registration starts
// WRONG_PX away from the truth; residuals are against the projection through the true cameras.
#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <limits>
#include <map>
#include <sstream>

#include "calib/pose.h"
#include "io/plate_file.h"
#include "stitch/plates/plate_set.h"
#include "stitch/ties/overlap_likeness.h"
#include "stitch/ties/pairs.h"
#include "stitch/ties/refine_ties.h"

namespace plateloom::stitch {
namespace {

using Pairs = std::vector<std::pair<int, int>>;

double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch())
        .count();
}

class Stage {
public:
    explicit Stage(const char* name) : name_(name), wall_s_(now_s()), cpu_(std::clock()) {}
    ~Stage() {
        std::printf("%-14s %6.2f s, %6.2f core seconds\n", name_, now_s() - wall_s_,
                    double(std::clock() - cpu_) / CLOCKS_PER_SEC);
    }

private:
    const char* name_;
    double wall_s_;
    std::clock_t cpu_;
};

struct Shoot {
    std::vector<Plate> plates;
    std::vector<calib::LensMap> lenses;
    std::vector<Matrix3d> worldFromCamera;
    std::vector<LightPicture> light;
    std::vector<PlateFeatures> features;

    [[nodiscard]] int size() const { return int(plates.size()); }
    [[nodiscard]] Matrix3d bFromA(int a, int b) const {
        return worldFromCamera[b].transpose() * worldFromCamera[a];
    }
    [[nodiscard]] std::optional<Vector2d> transfer(int a, int b, const Matrix3d& bFromA,
                                                   const Vector2d& px) const {
        const auto ray = lenses[a].rayFromRecorded(px);
        if (!ray) return std::nullopt;
        const auto found = lenses[b].recordedFromRay(bFromA * *ray);
        if (!found || !lenses[b].inPicture(*found)) return std::nullopt;
        return found;
    }
    [[nodiscard]] double overlap(int a, int b) const {
        int seen = 0;
        for (int j = 0; j < 9; ++j) {
            for (int i = 0; i < 16; ++i) {
                const Vector2d px((i + 0.5) * plates[a].sensor.width_px / 16,
                                  (j + 0.5) * plates[a].sensor.height_px / 9);
                seen += transfer(a, b, bFromA(a, b), px).has_value();
            }
        }
        return seen / 144.0;
    }
};

// True poses, and true focal lengths where the plates came without a lens track.
void readTruth(const std::filesystem::path& folder, bool with_lens, Shoot& shoot) {
    std::ifstream file(folder / "truth" / "poses.csv");
    std::map<std::string, std::vector<double>> rows;
    std::string line;
    while (std::getline(file, line)) {
        std::istringstream cells(line);
        std::string name, cell;
        std::getline(cells, name, ',');
        while (std::getline(cells, cell, ',')) rows[name].push_back(std::atof(cell.c_str()));
    }
    for (Plate& plate : shoot.plates) {
        const auto& row = rows[plate.file.path.filename().string()];
        if (row.size() < 4) {
            std::fprintf(stderr, "no truth for %s\n", plate.file.path.c_str());
            std::exit(3);
        }
        shoot.worldFromCamera.push_back(calib::worldFromCamera({row[0], row[1], row[2]}));
        if (!with_lens) plate.lens.focal_mm = row[3] * plate.sensor.mmPerPixelX();
        plate.pose.reset();
        shoot.lenses.emplace_back(plate.lens, plate.sensor);
    }
}

Shoot readShoot(const std::filesystem::path& folder) {
    PlateArguments arguments;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        const auto extension = entry.path().extension();
        if (extension == ".exr" || extension == ".jpg" || extension == ".png" ||
            extension == ".tif")
            arguments.plates.push_back(entry.path().string());
    }
    std::sort(arguments.plates.begin(), arguments.plates.end());
    for (const char* name : {"lens.jsonl", "lens.json", "lens.csv"}) {
        if (std::filesystem::exists(folder / name)) arguments.lens_tracks.push_back(folder / name);
    }
    Shoot shoot;
    shoot.plates = gatherPlates(arguments).plates;
    readTruth(folder, !arguments.lens_tracks.empty(), shoot);
    return shoot;
}

void findFeatures(Shoot& shoot, int wanted) {
    std::vector<io::PlatePixels> pixels(shoot.plates.size());
    shoot.light.resize(shoot.plates.size());
    shoot.features.resize(shoot.plates.size());
    {
        const Stage stage("read");
        tbb::parallel_for(0, shoot.size(),
                          [&](int i) { pixels[i] = io::readPlatePixels(shoot.plates[i].file); });
    }
    {
        const Stage stage("light");
        tbb::parallel_for(0, shoot.size(), [&](int i) {
            shoot.light[i] = lightPicture(pixels[i], shoot.lenses[i]);
        });
    }
    {
        const Stage stage("detect");
        tbb::parallel_for(0, shoot.size(), [&](int i) {
            shoot.features[i] = detectFeatures(shoot.light[i], wanted);
        });
    }
}

void reportPairs(const Shoot& shoot, double tolerance_px, bool verbose) {
    constexpr double kTrueShare = 0.05;
    Pairs tried, all;
    {
        const Stage stage("candidates");
        tried = candidatePairs(shoot.plates, shoot.features, 8);
    }
    int overlapping = 0, overlapping_tried = 0;
    for (int a = 0; a < shoot.size(); ++a) {
        for (int b = a + 1; b < shoot.size(); ++b) {
            all.push_back({a, b});
            if (shoot.overlap(a, b) < kTrueShare) continue;
            ++overlapping;
            overlapping_tried +=
                std::find(tried.begin(), tried.end(), std::pair{a, b}) != tried.end();
        }
    }
    std::vector<std::vector<PairRotation>> found(all.size());
    {
        const Stage stage("rotations");
        tbb::parallel_for(0, int(all.size()), [&](int k) {
            const auto [a, b] = all[k];
            found[k] = pairRotations({a, shoot.features[a], shoot.lenses[a]},
                                     {b, shoot.features[b], shoot.lenses[b]}, tolerance_px);
        });
    }
    int right = 0, first = 0, wrong = 0, missed = 0;
    for (size_t k = 0; k < all.size(); ++k) {
        const auto [a, b] = all[k];
        bool any = false;
        const double share = shoot.overlap(a, b);
        for (const PairRotation& rotation : found[k]) {
            const double off_deg = calib::angleBetween_deg(rotation.bFromA, shoot.bFromA(a, b));
            const bool true_one =
                off_deg < std::max(0.5, 2 * 57.3 * tolerance_px / shoot.lenses[b].focal_px());
            first += true_one && &rotation == &found[k].front();
            any = any || true_one;
            wrong += !true_one;
            if (verbose)
                std::printf("   %d-%d %s %.3f deg, %d of %d, overlap %.2f, likeness %.2f\n", a, b,
                            true_one ? "right" : "WRONG", off_deg, rotation.inliers,
                            rotation.in_overlap, share,
                            overlapLikeness(shoot.features[a], shoot.features[b], shoot.lenses[a],
                                            shoot.lenses[b], rotation.bFromA)
                                .value_or(-2));
        }
        right += any;
        missed += !any && share >= kTrueShare;
        if (verbose && !any && share >= kTrueShare)
            std::printf("   %d-%d MISSED, overlap %.2f\n", a, b, share);
    }
    std::printf("candidates: %zu tried, with %d of %d true overlaps\n", tried.size(),
                overlapping_tried, overlapping);
    std::printf("all %zu pairs: %d right (%d first), %d missed, %d wrong hypotheses\n", all.size(),
                right, first, missed, wrong);
}

void reportTies(const char* name, const Shoot& shoot, const std::vector<std::vector<Tie>>& found) {
    Vector2d sum = Vector2d::Zero();
    double square = 0, claimed = 0, normal = 0;
    std::vector<double> lengths;
    for (const auto& of_pair : found) {
        for (const Tie& tie : of_pair) {
            const auto px = shoot.transfer(tie.a, tie.b, shoot.bFromA(tie.a, tie.b), tie.px_a);
            if (!px) continue;
            const Vector2d off = tie.px_b - *px;
            sum += off;
            square += off.squaredNorm();
            claimed += tie.sigma_px * tie.sigma_px;
            // Movers and the like count as three sigma.
            normal += std::min(9.0, 0.5 * off.squaredNorm() / (tie.sigma_px * tie.sigma_px));
            lengths.push_back(off.norm());
        }
    }
    if (lengths.empty()) return;
    const double count = double(lengths.size());
    std::sort(lengths.begin(), lengths.end());
    const auto share = [&](double s) { return lengths[size_t(s * (count - 1))]; };
    std::printf(
        "%s: %.0f ties, mean %.4f %.4f, rms an axis %.4f, claimed %.4f (off by %.2f sigma), "
        "length median %.4f, 90%% %.4f, 99%% %.4f, worst %.2f px\n",
        name, count, sum.x() / count, sum.y() / count, std::sqrt(0.5 * square / count),
        std::sqrt(claimed / count), std::sqrt(normal / count), share(0.5), share(0.9), share(0.99),
        share(1.0));
}

void reportRegistration(const Shoot& shoot, double wrong_px, double search_px) {
    Pairs pairs;
    for (int a = 0; a < shoot.size(); ++a) {
        for (int b = a + 1; b < shoot.size(); ++b) {
            if (shoot.overlap(a, b) > 0.01) pairs.push_back({a, b});
        }
    }
    std::vector<std::vector<Tie>> guided(pairs.size()), registered(pairs.size());
    {
        const Stage stage("guided");
        tbb::parallel_for(0, int(pairs.size()), [&](int k) {
            const auto [a, b] = pairs[k];
            guided[k] = guidedMatches({a, shoot.features[a], shoot.lenses[a]},
                                      {b, shoot.features[b], shoot.lenses[b]}, shoot.bFromA(a, b),
                                      std::max(5.0, 2 * wrong_px));
        });
    }
    reportTies("guided", shoot, guided);
    RefineSettings settings;
    settings.search_px = search_px;
    {
        const Stage stage("register");
        for (size_t k = 0; k < pairs.size(); ++k) {
            const auto [a, b] = pairs[k];
            // Another axis for every pair, so that the mistake has no common direction.
            const Vector3d axis(std::sin(1.7 * double(k)), std::cos(2.9 * double(k)),
                                std::sin(0.3 * double(k)));
            const Matrix3d off =
                Eigen::AngleAxisd(wrong_px / shoot.lenses[b].focal_px(), axis.normalized())
                    .toRotationMatrix();
            const Matrix3d bFromA = off * shoot.bFromA(a, b);
            registered[k] = refineTies(
                a, b, shoot.light[a], shoot.light[b],
                [&, a = a, b = b](const Vector2d& px) { return shoot.transfer(a, b, bFromA, px); },
                settings);
        }
    }
    reportTies("registered", shoot, registered);
    int few = 0;
    for (const auto& ties : registered) few += ties.size() < 20;
    std::printf("%zu pairs, %d of them with fewer than 20 ties\n", pairs.size(), few);
}

}  // namespace
}  // namespace plateloom::stitch

int main(int count, char** arguments) {
    using namespace plateloom::stitch;
    if (count < 2) {
        std::fprintf(stderr, "tie_points_bench FOLDER [TOLERANCE_PX] [WRONG_PX] [SEARCH_PX]\n");
        return 2;
    }
    const auto number = [&](int i, double otherwise) {
        return count > i ? std::atof(arguments[i]) : otherwise;
    };
    Shoot shoot = readShoot(arguments[1]);
    findFeatures(shoot, 1300);
    reportPairs(shoot, number(2, 4.0), std::getenv("VERBOSE") != nullptr);
    reportRegistration(shoot, number(3, 0.7), number(4, 2.0));
    return 0;
}
