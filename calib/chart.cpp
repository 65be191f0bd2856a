#include "calib/chart.h"

#include <algorithm>

namespace plateloom::calib {

double ChartBoard::reach_mm() const {
    double reach = 0;
    for (const auto& point : points_mm) reach = std::max(reach, point.norm());
    return reach;
}

ChartBoard regularBoard(int columns, int rows, double pitch_mm) {
    ChartBoard board;
    board.columns = columns;
    board.rows = rows;
    for (int j = 0; j < rows; ++j)
        for (int i = 0; i < columns; ++i)
            board.points_mm.emplace_back((i - 0.5 * (columns - 1)) * pitch_mm,
                                         (j - 0.5 * (rows - 1)) * pitch_mm);
    return board;
}

int ChartModel::freeNumbers() const {
    int count = 1 + above + below;
    if (centre != CentreTerms::none) count += 2;
    if (centre == CentreTerms::tangential || centre == CentreTerms::distortion) count += 2;
    if (centre == CentreTerms::both) count += 4;
    if (shape != ShapeTerms::flat) count += 3;
    if (shape == ShapeTerms::bent_and_stretched) count += 2;
    if (shape == ShapeTerms::curled) count += 6;
    return count;
}

std::string nameOf(const ChartModel& model) {
    std::string name = "F";
    for (int i = 0; i < 3; ++i) {
        if (i < model.above) name += " k" + std::to_string(2 * i + 1);
        if (i < model.below) name += " k" + std::to_string(2 * i + 2);
    }
    switch (model.centre) {
        case CentreTerms::none:
            break;
        case CentreTerms::axis:
            name += ", optical axis";
            break;
        case CentreTerms::tangential:
            name += " p1 p2, optical axis";
            break;
        case CentreTerms::distortion:
            name += ", optical axis, distortion centre";
            break;
        case CentreTerms::both:
            name += " p1 p2, optical axis, distortion centre";
            break;
    }
    switch (model.shape) {
        case ShapeTerms::flat:
            break;
        case ShapeTerms::bent:
            name += "; board bent";
            break;
        case ShapeTerms::bent_and_stretched:
            name += "; board bent and stretched";
            break;
        case ShapeTerms::curled:
            name += "; board curled and stretched";
            break;
    }
    return name;
}

}  // namespace plateloom::calib
