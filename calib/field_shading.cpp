#include "calib/field_shading.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

#include "calib/median.h"

namespace plateloom::calib {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int kMostTerms = 3;
constexpr int kLampParts = 6;
constexpr double kDistortionPrior = 1e-4;  // (cells' error / a tenth of the reach)²
// Keep a trial step's logarithms finite.
constexpr double kLeastTransmission = 0.02, kLeastLamp = 0.01;

// Where a cell's light came from, in units of the reach: the picture's own place, turned with the
// camera. The lamp lies square before the first picture.
Vector2d placeOnLamp(const Matrix3d& firstFromPicture, const Vector2d& flat_mm, double focal_mm,
                     double reach_mm) {
    const Vector3d ray = firstFromPicture * Vector3d(flat_mm.x(), focal_mm, -flat_mm.y());
    return Vector2d(ray.x(), -ray.z()) * (focal_mm / std::max(ray.y(), 1e-3 * focal_mm) / reach_mm);
}

bool lampMoves(const std::vector<FieldPicture>& pictures) {
    constexpr double kMoved_deg = 2;
    double least_pan = 1e9, most_pan = -1e9, least_tilt = 1e9, most_tilt = -1e9;
    for (const FieldPicture& picture : pictures) {
        if (!picture.facing) return false;
        least_pan = std::min(least_pan, picture.facing->pan_deg);
        most_pan = std::max(most_pan, picture.facing->pan_deg);
        least_tilt = std::min(least_tilt, picture.facing->tilt_deg);
        most_tilt = std::max(most_tilt, picture.facing->tilt_deg);
    }
    return most_pan - least_pan > kMoved_deg || most_tilt - least_tilt > kMoved_deg;
}

// One cell of one picture, ready for the solve.
struct Row {
    int picture, setting, fold, cell;
    double s;  // (r / reach)²
    Vector2d u;
    Vector2d bent;  // how u moves with distortion of the first order
    double log_light;
};

// Unknowns: a setting's terms; then lamps (one for all, or one a picture); then levels.
class Solve {
public:
    Solve(const std::vector<Row>& rows, int settings, int pictures, bool shared_lamp, int terms)
        : rows_(rows),
          settings_(settings),
          pictures_(pictures),
          shared_(shared_lamp),
          terms_(terms),
          x_(VectorXd::Zero(settings * terms + kLampParts * (shared_lamp ? 1 : pictures) +
                            pictures)) {
        std::vector<std::vector<double>> lights(static_cast<size_t>(pictures));
        for (const Row& row : rows) lights[size_t(row.picture)].push_back(row.log_light);
        for (int k = 0; k < pictures; ++k) x_[levelAt(k)] = median(lights[size_t(k)]);
    }

    // Rows of `left_out` take no part.
    void run(int left_out) {
        constexpr int kConvexRounds = 6, kMostRounds = 40;
        double last_change = 1;
        for (int round = 0;
             round < kMostRounds && (round <= kConvexRounds + 1 || last_change > 1e-7); ++round) {
            weigh(left_out, round >= kConvexRounds);
            last_change = step();
        }
    }

    [[nodiscard]] double residual(const Row& row) const {
        return row.log_light - x_[levelAt(row.picture)] - std::log(lampAtRow(row)) -
               std::log(transmission(row));
    }
    [[nodiscard]] double sigma(int picture) const { return sigma_[size_t(picture)]; }
    [[nodiscard]] double weight(size_t row) const { return weight_[row]; }
    [[nodiscard]] double level(int picture) const { return std::exp(x_[levelAt(picture)]); }

    [[nodiscard]] Lamp lampOf(int picture) const {
        const int at = lampAt(picture);
        Lamp lamp{{x_[at], x_[at + 1]}, x_[at + 2], x_[at + 3], Vector2d::Zero(), 0};
        if (shared_)
            lamp.bow = x_[at + 4];
        else
            lamp.skew = {x_[at + 4], x_[at + 5]};
        return lamp;
    }
    // Where on the lamp a cell's light came from, with the distortion found.
    [[nodiscard]] Vector2d placeOf(const Row& row) const {
        return shared_ ? Vector2d(row.u + x_[lampAt(row.picture) + 5] * row.bent) : row.u;
    }
    // In units of the reach.
    [[nodiscard]] std::array<double, kMostTerms> termsOf(int setting) const {
        std::array<double, kMostTerms> out{};
        for (int i = 0; i < terms_; ++i) out[size_t(i)] = x_[setting * terms_ + i];
        return out;
    }
    // One-sigma of the transmission at the reach.
    [[nodiscard]] double cornerSigma(int setting) const {
        double sum = 0;
        int used = 0;
        for (size_t i = 0; i < rows_.size(); ++i)
            if (weight_[i] > 0) sum += weight_[i] * std::pow(residual(rows_[i]), 2), ++used;
        VectorXd pick = VectorXd::Zero(x_.size());
        pick.segment(setting * terms_, terms_).setOnes();
        const double variance = sum / std::max(1, used - int(x_.size()));
        return std::sqrt(std::max(0.0, variance * pick.dot(normal_.ldlt().solve(pick))));
    }

private:
    [[nodiscard]] int lampAt(int picture) const {
        return settings_ * terms_ + (shared_ ? 0 : kLampParts * picture);
    }
    [[nodiscard]] int levelAt(int picture) const {
        return settings_ * terms_ + (shared_ ? kLampParts : kLampParts * pictures_) + picture;
    }
    [[nodiscard]] double lampAtRow(const Row& row) const {
        return std::max(lampOf(row.picture).at(placeOf(row)), kLeastLamp);
    }
    [[nodiscard]] double transmission(const Row& row) const {
        double loss = 0;
        for (int i = terms_ - 1; i >= 0; --i) loss = (loss + x_[row.setting * terms_ + i]) * row.s;
        return std::max(1 - loss, kLeastTransmission);
    }

    void weigh(int left_out, bool biweight) {
        weight_.assign(rows_.size(), 0);
        std::vector<std::vector<double>> sizes(static_cast<size_t>(pictures_));
        std::vector<double> residuals(rows_.size());
        for (size_t i = 0; i < rows_.size(); ++i) {
            residuals[i] = residual(rows_[i]);
            if (rows_[i].fold != left_out)
                sizes[size_t(rows_[i].picture)].push_back(std::abs(residuals[i]));
        }
        sigma_.clear();
        for (const auto& of_picture : sizes)
            sigma_.push_back(std::max(1.4826 * median(of_picture), 1e-6));
        const double cleanest = *std::min_element(sigma_.begin(), sigma_.end());
        constexpr double kHuber = 1.345, kTukey = 4.685;  // 95 % efficient for a normal error
        for (size_t i = 0; i < rows_.size(); ++i) {
            if (rows_[i].fold == left_out) continue;
            const double sigma = sigma_[size_t(rows_[i].picture)];
            const double z = std::abs(residuals[i]) / sigma;
            if (biweight) {
                const double t = z / kTukey;
                weight_[i] = t < 1 ? (1 - t * t) * (1 - t * t) : 0;
            } else {
                weight_[i] = z < kHuber ? 1 : kHuber / z;
            }
            // A grainy picture counts less than a clean one.
            weight_[i] *= std::pow(cleanest / sigma, 2);
        }
    }

    // Gauss-Newton; a row touches its setting's terms, its lamp and its level. Returns the largest
    // change of an unknown.
    double step() {
        normal_ = MatrixXd::Identity(x_.size(), x_.size()) * 1e-9;
        VectorXd right = VectorXd::Zero(x_.size());
        std::array<int, kMostTerms + kLampParts + 1> at{};
        std::array<double, kMostTerms + kLampParts + 1> slope{};
        for (size_t i = 0; i < rows_.size(); ++i) {
            if (weight_[i] <= 0) continue;
            const Row& row = rows_[i];
            size_t n = 0;
            const double through = transmission(row);
            double power = row.s;
            for (int term = 0; term < terms_; ++term, power *= row.s) {
                at[n] = row.setting * terms_ + term;
                slope[n++] = -power / through;
            }
            const double lamp = lampAtRow(row);
            const Vector2d u = placeOf(row);
            const double u2 = u.squaredNorm();
            const double parts[kLampParts] = {
                u.x(),
                u.y(),
                u.x() * u.x() - u.y() * u.y(),
                2 * u.x() * u.y(),
                shared_ ? u2 : u.x() * u2,
                shared_ ? lampOf(row.picture).slope(u).dot(row.bent) : u.y() * u2};
            for (int part = 0; part < kLampParts; ++part) {
                at[n] = lampAt(row.picture) + part;
                slope[n++] = parts[part] / lamp;
            }
            at[n] = levelAt(row.picture);
            slope[n++] = 1;
            const double error = residual(row);
            for (size_t a = 0; a < n; ++a) {
                right[at[a]] += weight_[i] * slope[a] * error;
                const double left = weight_[i] * slope[a];
                // The lower triangle alone is read; unknowns rise within a row.
                for (size_t b = a; b < n; ++b) normal_(at[b], at[a]) += left * slope[b];
            }
        }
        if (shared_) {
            const int distortion = lampAt(0) + 5;
            normal_(distortion, distortion) += kDistortionPrior;
            right[distortion] -= kDistortionPrior * x_[distortion];
        }
        const VectorXd change = normal_.ldlt().solve(right);
        x_ += change;
        return change.cwiseAbs().maxCoeff();
    }

    const std::vector<Row>& rows_;
    int settings_, pictures_;
    bool shared_;
    int terms_;
    VectorXd x_;
    MatrixXd normal_;
    std::vector<double> weight_, sigma_;
};

// Cells are left out in patches, so that a neighbour does not give a cell's dust or noise away.
constexpr int kFolds = 5;
int foldOf(const Vector2d& p, int picture) {
    constexpr double kPatch = 0.22;  // of the reach
    const int i = int(std::floor(p.x() / kPatch)), j = int(std::floor(p.y() / kPatch));
    return ((i * 2 + j + picture) % kFolds + kFolds) % kFolds;
}

// Squared errors of cells left out, held to what dust may count, one number a picture and fold.
std::vector<double> heldOut(const std::vector<Row>& rows, int settings, int pictures, bool shared,
                            int terms) {
    std::vector<double> sums(size_t(pictures * kFolds), 0), counts(sums);
    for (int fold = 0; fold < kFolds; ++fold) {
        Solve solve(rows, settings, pictures, shared, terms);
        solve.run(fold);
        for (const Row& row : rows) {
            if (row.fold != fold) continue;
            const double most = 4.685 * solve.sigma(row.picture);
            const double error = std::min(std::abs(solve.residual(row)), most);
            const size_t at = size_t(row.picture * kFolds + fold);
            sums[at] += error * error;
            counts[at] += 1;
        }
    }
    // The three numbers of terms are compared picture by picture, so a picture's grain cancels.
    for (size_t i = 0; i < sums.size(); ++i) sums[i] /= std::max(1.0, counts[i]);
    return sums;
}

double mean(const std::vector<double>& values) {
    double sum = 0;
    for (const double value : values) sum += value;
    return sum / double(values.size());
}

// The simplest that is worse than the best by no more than the difference's standard error.
int chooseTerms(const std::array<std::vector<double>, kMostTerms>& errors) {
    size_t best = 0;
    for (size_t i = 1; i < errors.size(); ++i)
        if (mean(errors[i]) < mean(errors[best])) best = i;
    for (size_t i = 0; i < best; ++i) {
        std::vector<double> worse(errors[i].size());
        for (size_t k = 0; k < worse.size(); ++k) worse[k] = errors[i][k] - errors[best][k];
        const double by = mean(worse);
        double spread = 0;
        for (const double value : worse) spread += (value - by) * (value - by);
        const auto n = double(worse.size());
        if (by <= std::sqrt(spread / (n - 1) / n)) return int(i) + 1;
    }
    return int(best) + 1;
}

// Where the lamp stands still before the camera, each picture has a lamp of its own and it does not
// matter where it faced.
std::vector<Row> rowsOf(const std::vector<FieldPicture>& pictures, bool lamp_moves, double focal_mm,
                        double reach_mm) {
    std::vector<Row> rows;
    for (size_t k = 0; k < pictures.size(); ++k) {
        Matrix3d firstFromPicture = Matrix3d::Identity();
        if (lamp_moves)
            firstFromPicture = worldFromCamera(*pictures[0].facing).transpose() *
                               worldFromCamera(*pictures[k].facing);
        for (size_t i = 0; i < pictures[k].cells.size(); ++i) {
            const FieldCell& cell = pictures[k].cells[i];
            if (!(cell.light > 0)) continue;
            const Vector2d p = cell.mm / reach_mm;
            const auto seenAt = [&](double bend) {
                const double flat2 = cell.flat_mm.squaredNorm() / (reach_mm * reach_mm);
                return placeOnLamp(firstFromPicture, cell.flat_mm * (1 + bend * flat2), focal_mm,
                                   reach_mm);
            };
            constexpr double kBend = 1e-3;
            rows.push_back({int(k), pictures[k].setting, foldOf(p, int(k)), int(i), p.squaredNorm(),
                            seenAt(0), (seenAt(kBend) - seenAt(-kBend)) / (2 * kBend),
                            std::log(cell.light)});
        }
    }
    return rows;
}

double rootMean(double sum, size_t count) {
    return std::sqrt(sum / double(std::max<size_t>(1, count)));
}

void describePictures(const std::vector<FieldPicture>& pictures, const std::vector<Row>& rows,
                      const Solve& solve, ShadingFit* fit) {
    for (size_t k = 0; k < pictures.size(); ++k) {
        const size_t cells = pictures[k].cells.size();
        FittedPicture picture;
        picture.level = solve.level(int(k));
        picture.lamp = solve.lampOf(int(k));
        picture.on_lamp.assign(cells, Vector2d::Zero());
        picture.residual.assign(cells, std::numeric_limits<double>::quiet_NaN());
        picture.used.assign(cells, 0);
        fit->pictures.push_back(std::move(picture));
    }
    std::vector<double> sums(pictures.size(), 0);
    std::vector<size_t> used(pictures.size(), 0);
    for (size_t i = 0; i < rows.size(); ++i) {
        const auto k = size_t(rows[i].picture), cell = size_t(rows[i].cell);
        FittedPicture& picture = fit->pictures[k];
        const double residual = solve.residual(rows[i]);
        picture.on_lamp[cell] = solve.placeOf(rows[i]);
        picture.residual[cell] = residual;
        if (solve.weight(i) <= 0) continue;
        picture.used[cell] = 1;
        sums[k] += residual * residual;
        ++used[k];
    }
    double sum = 0;
    size_t count = 0;
    for (size_t k = 0; k < pictures.size(); ++k) {
        fit->pictures[k].rms = rootMean(sums[k], used[k]);
        sum += sums[k];
        count += used[k];
    }
    fit->rms = rootMean(sum, count);
}

}  // namespace

ShadingFit fitShading(const std::vector<FieldPicture>& pictures, int settings, double focal_mm,
                      double reach_mm) {
    assert(!pictures.empty() && settings > 0 && focal_mm > 0 && reach_mm > 0);
    const bool moves = lampMoves(pictures);
    const int count = int(pictures.size());
    const std::vector<Row> rows = rowsOf(pictures, moves, focal_mm, reach_mm);

    ShadingFit fit;
    fit.bow_separated = moves;
    std::array<std::vector<double>, kMostTerms> errors;
    for (int terms = 1; terms <= kMostTerms; ++terms) {
        auto& of_terms = errors[size_t(terms) - 1];
        of_terms = heldOut(rows, settings, count, moves, terms);
        fit.held_out[size_t(terms) - 1] = std::sqrt(mean(of_terms));
    }
    fit.terms = chooseTerms(errors);

    Solve solve(rows, settings, count, moves, fit.terms);
    solve.run(-1);
    const double r2 = reach_mm * reach_mm;
    for (int s = 0; s < settings; ++s) {
        const auto a = solve.termsOf(s);
        fit.shading.push_back({a[0] / r2, a[1] / (r2 * r2), a[2] / (r2 * r2 * r2)});
        fit.corner_sigma.push_back(solve.cornerSigma(s));
    }
    describePictures(pictures, rows, solve, &fit);
    return fit;
}

double cosineFourth(double flat_mm, double focal_mm) {
    const double cosine2 = focal_mm * focal_mm / (focal_mm * focal_mm + flat_mm * flat_mm);
    return cosine2 * cosine2;
}

}  // namespace plateloom::calib
