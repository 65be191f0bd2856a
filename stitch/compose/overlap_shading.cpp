#include "stitch/compose/overlap_shading.h"

#include <tbb/parallel_for.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "calib/median.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kMostOfPair = 1500;
constexpr int kMostTerms = 3;
constexpr int kFolds = 6;

using Terms = Eigen::Vector3d;  // of s, s², s³; s = (r / half diagonal)²

double transmission(const Terms& terms, double s) {
    return 1 - s * (terms[0] + s * (terms[1] + s * terms[2]));
}

// One place in an overlap; plates and settings by index.
struct Sample {
    int a = 0, b = 0, pair = 0;
    int setting_a = -1, setting_b = -1;
    double s_a = 0, s_b = 0;
    double log_ratio = 0, weight = 1;
};

struct Overlaps {
    std::vector<Sample> samples;  // pair after pair
    int pairs = 0, plates = 0, settings = 0;
};

// Dark cells are noise, and their logarithm leans.
double floorOf(const LightCells& cells) {
    std::vector<float> light;
    for (const auto& cell : cells.light)
        if (cell[0] != LightCells::kNone) light.push_back(cell[1]);
    if (light.empty()) return 0;
    const auto middle = light.begin() + ptrdiff_t(light.size() / 2);
    std::nth_element(light.begin(), middle, light.end());
    return std::max(1e-4, 0.1 * double(*middle));
}

double luminance(const std::array<float, 3>& rgb) {
    return 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
}

double radiusShare2(const PlacedPlate& plate, const calib::Vector2d& px) {
    const auto& sensor = plate.lens.sensor();
    const double h = sensor.halfDiagonal_mm();
    return calib::mmFromPixel(sensor, px).squaredNorm() / (h * h);
}

Overlaps overlapsOf(const std::vector<PlacedPlate>& plates, const std::vector<LightCells>& cells,
                    const std::vector<int>& setting) {
    Overlaps out;
    out.plates = int(plates.size());
    for (const int number : setting) out.settings = std::max(out.settings, number + 1);
    std::vector<double> floor;
    for (const auto& of_plate : cells) floor.push_back(floorOf(of_plate));
    std::vector<std::pair<int, int>> pairs;
    for (int a = 0; a < out.plates; ++a)
        for (int b = a + 1; b < out.plates; ++b)
            if (mayOverlap(plates[size_t(a)], plates[size_t(b)])) pairs.emplace_back(a, b);
    std::vector<std::vector<Sample>> of_pair(pairs.size());
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        const auto a = size_t(pairs[i].first), b = size_t(pairs[i].second);
        for (const auto& shared : sharedLight(cells[a], plates[b], cells[b])) {
            const double light_a = luminance(shared.light_a), light_b = luminance(shared.light_b);
            if (light_a < floor[a] || light_b < floor[b]) continue;
            of_pair[i].push_back(
                {int(a), int(b), 0, setting[a], setting[b], radiusShare2(plates[a], shared.px_a),
                 radiusShare2(plates[b], shared.px_b), std::log(light_a / light_b), shared.weight});
        }
        thin(of_pair[i], kMostOfPair);
    });
    for (auto& some : of_pair) {
        if (some.empty()) continue;
        for (auto& sample : some) sample.pair = out.pairs;
        ++out.pairs;
        out.samples.insert(out.samples.end(), some.begin(), some.end());
    }
    return out;
}

struct Fit {
    std::vector<Terms> terms;  // one a setting
    Eigen::VectorXd exposure;  // one a plate, natural log
    double scale = 0;          // of a residual
};

double predicted(const Sample& sample, const std::vector<Terms>& terms) {
    const auto log_t = [&](int setting, double s) {
        return setting < 0 ? 0.0
                           : std::log(std::max(0.02, transmission(terms[size_t(setting)], s)));
    };
    return log_t(sample.setting_a, sample.s_a) - log_t(sample.setting_b, sample.s_b);
}

// Gauss-Newton with weights that fall with the residual (Tukey's biweight). `used(pair)` says which
// overlaps count.
template <class Used>
Fit fit(const Overlaps& overlaps, int terms, const Used& used) {
    constexpr int kRounds = 14;
    constexpr double kBiweight = 4.685;
    // Settings differ by a stop or two of iris; exposures by some stops.
    constexpr double kSettingSigma = 0.2, kExposureSigma = 2, kTermSigma = 3;
    const int plates = overlaps.plates, shades = overlaps.settings * terms;
    const int unknowns = plates + shades;
    Fit out;
    out.terms.assign(size_t(overlaps.settings), Terms::Zero());
    out.exposure = Eigen::VectorXd::Zero(plates);
    for (int round = 0; round < kRounds; ++round) {
        std::vector<double> off(overlaps.samples.size(), 0), sizes;
        for (size_t i = 0; i < off.size(); ++i) {
            const Sample& sample = overlaps.samples[i];
            if (!used(sample.pair)) continue;
            off[i] = sample.log_ratio - predicted(sample, out.terms) -
                     (out.exposure[sample.a] - out.exposure[sample.b]);
            sizes.push_back(std::abs(off[i]));
        }
        if (sizes.empty()) break;
        out.scale = std::max(1e-4, 1.4826 * calib::median(std::move(sizes)));
        Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(unknowns, unknowns);
        Eigen::VectorXd right = Eigen::VectorXd::Zero(unknowns);
        double total = 0;
        for (size_t i = 0; i < off.size(); ++i) {
            const Sample& sample = overlaps.samples[i];
            if (!used(sample.pair)) continue;
            // Early rounds reject only gross outliers.
            const double u = off[i] / (kBiweight * (round < 2 ? 4 : 1) * out.scale);
            if (std::abs(u) >= 1) continue;
            const double w = sample.weight * (1 - u * u) * (1 - u * u);
            total += w;
            int at[2 + 2 * kMostTerms];
            double slope[2 + 2 * kMostTerms];
            int n = 0;
            at[n] = sample.a;
            slope[n++] = 1;
            at[n] = sample.b;
            slope[n++] = -1;
            const auto add = [&](int setting, double s, double sign) {
                if (setting < 0) return;
                const double T = std::max(0.02, transmission(out.terms[size_t(setting)], s));
                double power = s;
                for (int k = 0; k < terms; ++k, power *= s) {
                    at[n] = plates + setting * terms + k;
                    slope[n++] = -sign * power / T;
                }
            };
            add(sample.setting_a, sample.s_a, 1);
            add(sample.setting_b, sample.s_b, -1);
            for (int p = 0; p < n; ++p) {
                right[at[p]] += w * slope[p] * off[i];
                for (int q = 0; q < n; ++q) normal(at[p], at[q]) += w * slope[p] * slope[q];
            }
        }
        if (total <= 0) break;
        // Priors in the samples' own weight and scale.
        const double one = total / double(overlaps.samples.size()) * out.scale * out.scale;
        for (int p = 0; p < plates; ++p) {
            const double w = one / (kExposureSigma * kExposureSigma);
            normal(p, p) += w;
            right[p] -= w * out.exposure[p];
        }
        for (int k = 0; k < terms; ++k) {
            double mean = 0;
            for (const auto& of_setting : out.terms) mean += of_setting[k] / overlaps.settings;
            for (int s = 0; s < overlaps.settings; ++s) {
                const int i = plates + s * terms + k;
                const double loose = one / (kTermSigma * kTermSigma);
                const double near =
                    overlaps.settings > 1 ? one / (kSettingSigma * kSettingSigma) : 0;
                normal(i, i) += loose + near;
                right[i] -=
                    loose * out.terms[size_t(s)][k] + near * (out.terms[size_t(s)][k] - mean);
            }
        }
        const Eigen::VectorXd step = normal.ldlt().solve(right);
        out.exposure += step.head(plates);
        for (int s = 0; s < overlaps.settings; ++s)
            for (int k = 0; k < terms; ++k) out.terms[size_t(s)][k] += step[plates + s * terms + k];
        if (round > 3 && step.cwiseAbs().maxCoeff() < 1e-7) break;
    }
    return out;
}

// Mean size of what a left-out overlap shows beyond the fit, its own exposure ratio aside; in the
// fit's own scale, no sample counting for more than four.
double heldOut(const Overlaps& overlaps, const Fit& fit, double scale, int fold) {
    double sum = 0;
    size_t count = 0;
    for (size_t first = 0; first < overlaps.samples.size();) {
        size_t end = first;
        const int pair = overlaps.samples[first].pair;
        std::vector<double> off;
        for (; end < overlaps.samples.size() && overlaps.samples[end].pair == pair; ++end)
            off.push_back(overlaps.samples[end].log_ratio -
                          predicted(overlaps.samples[end], fit.terms));
        if (pair % kFolds == fold) {
            const double centre = calib::median(off);
            for (const double one : off) sum += std::min(4.0, std::abs(one - centre) / scale);
            count += off.size();
        }
        first = end;
    }
    return count ? sum / double(count) : 0;
}

// As few terms as predict left-out overlaps as well as any number does.
struct Choice {
    int terms = 0;
    double held_out = 0;  // in scales
};
Choice termsThatTell(const Overlaps& overlaps, double scale) {
    constexpr double kWorthwhile = 0.002;
    std::array<std::array<double, kFolds>, kMostTerms + 1> of_fold{};
    tbb::parallel_for(0, (kMostTerms + 1) * kFolds, [&](int job) {
        const int terms = job / kFolds, fold = job % kFolds;
        const Fit left = fit(overlaps, terms, [&](int pair) { return pair % kFolds != fold; });
        of_fold[size_t(terms)][size_t(fold)] = heldOut(overlaps, left, scale, fold);
    });
    std::array<double, kMostTerms + 1> error{};
    for (size_t terms = 0; terms < error.size(); ++terms)
        error[terms] = std::accumulate(of_fold[terms].begin(), of_fold[terms].end(), 0.0) / kFolds;
    const double best = *std::min_element(error.begin(), error.end());
    for (int terms = 0; terms <= kMostTerms; ++terms)
        if (error[size_t(terms)] <= (1 + kWorthwhile) * best) return {terms, error[size_t(terms)]};
    return {};
}

calib::Shading inMillimetres(const Terms& terms, double half_diagonal_mm) {
    const double h2 = half_diagonal_mm * half_diagonal_mm;
    return {terms[0] / h2, terms[1] / (h2 * h2), terms[2] / (h2 * h2 * h2)};
}

}  // namespace

ShadingFromOverlaps findShading(const std::vector<PlacedPlate>& plates,
                                const std::vector<LightCells>& cells,
                                const std::vector<int>& lens_setting) {
    const Overlaps overlaps = overlapsOf(plates, cells, lens_setting);
    ShadingFromOverlaps found;
    found.of_setting.resize(size_t(overlaps.settings));
    constexpr int kLeastPairs = 2;
    if (overlaps.pairs < kLeastPairs) return found;
    const auto all = [](int) { return true; };
    const double scale = fit(overlaps, kMostTerms, all).scale;
    const Choice choice = overlaps.pairs >= kFolds ? termsThatTell(overlaps, scale) : Choice{1, 0};
    const int terms = choice.terms;
    found.held_out = choice.held_out * scale;
    if (terms == 0) return found;
    const Fit whole = fit(overlaps, terms, all);

    const int folds = std::min(kFolds, overlaps.pairs);
    std::vector<Fit> without(static_cast<size_t>(folds));
    tbb::parallel_for(0, folds, [&](int fold) {
        without[size_t(fold)] =
            fit(overlaps, terms, [&](int pair) { return pair % folds != fold; });
    });
    for (int s = 0; s < overlaps.settings; ++s) {
        auto& out = found.of_setting[size_t(s)];
        double mean = 0, sum2 = 0;
        for (const auto& one : without) mean += transmission(one.terms[size_t(s)], 1) / folds;
        for (const auto& one : without)
            sum2 += std::pow(transmission(one.terms[size_t(s)], 1) - mean, 2);
        out.corner_sigma = std::sqrt((folds - 1.0) / folds * sum2);
        for (const auto& sample : overlaps.samples) {
            if (sample.setting_a == s) out.reach = std::max(out.reach, std::sqrt(sample.s_a));
            if (sample.setting_b == s) out.reach = std::max(out.reach, std::sqrt(sample.s_b));
        }
        out.terms = terms;
        const auto of = std::find(lens_setting.begin(), lens_setting.end(), s);
        if (of == lens_setting.end()) continue;
        const auto& plate = plates[size_t(of - lens_setting.begin())];
        out.shading = inMillimetres(whole.terms[size_t(s)], plate.lens.sensor().halfDiagonal_mm());
    }
    return found;
}

}  // namespace plateloom::stitch
