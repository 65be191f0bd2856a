#include "stitch/mount/turn_series.h"

#include "calib/pose.h"
#include "calib/rotation_vector.h"

namespace plateloom::stitch {

std::vector<Matrix3d> bridged(const std::vector<std::optional<Matrix3d>>& turns) {
    std::vector<Matrix3d> out;
    for (size_t i = 0; i < turns.size(); ++i) {
        if (turns[i]) {
            out.push_back(*turns[i]);
            continue;
        }
        size_t after = i;
        while (after < turns.size() && !turns[after]) ++after;
        if (out.empty() || after == turns.size()) {
            out.push_back(!out.empty()           ? out.back()
                          : after < turns.size() ? *turns[after]
                                                 : Matrix3d::Identity());
            continue;
        }
        const calib::Vector3d way = calib::rotationVector(out.back().transpose() * *turns[after]);
        out.push_back(out.back() * calib::rotationOf(way / double(after - i + 1)));
    }
    return out;
}

Matrix3d meanTurn(const std::vector<Matrix3d>& turns) {
    Matrix3d sum = Matrix3d::Zero();
    for (const auto& turn : turns) sum += turn;
    return turns.empty() ? Matrix3d::Identity() : calib::nearestRotation(sum);
}

}  // namespace plateloom::stitch
