// The shot list as a page to print.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <sstream>

#include "io/html.h"
#include "io/made_mark.h"
#include "io/new_file.h"
#include "io/shot_list.h"

namespace plateloom::io {

namespace {

constexpr double kUnitsPerDegree = 3;  // of the drawing

constexpr const char* kStyle = R"css(
@page { size: A4; margin: 14mm 12mm; }
body { font: 11pt/1.4 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #111; background: #fff;
       max-width: 190mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 17pt; margin: 0 0 1mm; }
h2 { font-size: 12pt; margin: 7mm 0 2mm; break-after: avoid; }
p.sub { margin: 0 0 5mm; color: #333; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 1mm 5mm; margin: 0; }
dt { font-weight: 600; }
dd { margin: 0; }
svg { width: 100%; height: auto; border: 0.3mm solid #444; break-inside: avoid; }
.plate { fill: #2b6cb0; fill-opacity: 0.13; stroke: #1a3f66; stroke-width: 0.9; }
.wanted { fill: none; stroke: #111; stroke-width: 2.2; stroke-dasharray: 9 5; }
.grid { stroke: #bbb; stroke-width: 0.6; }
.tick { font-size: 15px; fill: #333; }
.number { font-size: 24px; font-weight: 700; text-anchor: middle; fill: #111;
          paint-order: stroke; stroke: #fff; stroke-width: 5px; }
table { border-collapse: collapse; width: 100%; font-size: 10.5pt; font-variant-numeric: tabular-nums; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: 0.2mm solid #777; padding: 1.1mm 1.8mm; text-align: right; }
th { background: #eee; font-weight: 600; }
td.name, th.name { text-align: left; }
td.write { min-width: 12mm; }
tr.first td { border-top: 0.7mm solid #111; }
.box { display: inline-block; width: 4mm; height: 4mm; border: 0.4mm solid #111; vertical-align: middle; }
li { margin: 0.7mm 0; }
p.legend { margin: 1mm 0 0; font-size: 9.5pt; color: #333; }
)css";

std::string number(double value, int decimals) {
    char text[40];
    const bool nothing = std::abs(value) < 0.5 * std::pow(10.0, -decimals);  // no "-0"
    std::snprintf(text, sizeof text, "%.*f", decimals, nothing ? 0.0 : value);
    return text;
}

// Decimals that tell all the list's angles apart from their roundings.
int decimalsOf(const ShotList& list) {
    for (const ListedShot& shot : list.shots)
        for (const double deg : {shot.pose.pan_deg, shot.pose.tilt_deg})
            if (std::abs(deg * 10 - std::round(deg * 10)) > 1e-6) return 2;
    return 1;
}

// The drawing: pan grows to the left, tilt upward, as one sees it from inside.
class Drawing {
public:
    Drawing(std::ostream& out, const ShotList& list) : out_(out), list_(list) {
        middle_deg_ = 0.5 * (list.pan_from_deg + list.pan_to_deg);
        bottom_deg_ = list.tilt_from_deg, top_deg_ = list.tilt_to_deg;
        half_deg_ = 0.5 * (list.pan_to_deg - list.pan_from_deg);
        for (const ListedShot& shot : list.shots)
            for (const auto& place : shot.outline_deg) {
                bottom_deg_ = std::min(bottom_deg_, place.y());
                top_deg_ = std::max(top_deg_, place.y());
                half_deg_ = std::max(half_deg_, std::abs(place.x() - middle_deg_));
            }
        half_deg_ = std::min(half_deg_ + 2, 180.0);
    }

    void draw() {
        out_ << "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-label=\"The sphere "
                "unrolled, with the outline and number of every plate\" viewBox=\"0 0 "
             << number(2 * half_deg_ * kUnitsPerDegree, 1) << ' '
             << number((top_deg_ - bottom_deg_) * kUnitsPerDegree, 1) << "\">\n";
        grid();
        for (const ListedShot& shot : list_.shots) plate(shot);
        out_ << "<rect class=\"wanted\" x=\"" << x(list_.pan_to_deg) << "\" y=\""
             << y(list_.tilt_to_deg) << "\" width=\""
             << number((list_.pan_to_deg - list_.pan_from_deg) * kUnitsPerDegree, 1)
             << "\" height=\""
             << number((list_.tilt_to_deg - list_.tilt_from_deg) * kUnitsPerDegree, 1) << "\"/>\n";
        labels();
        out_ << "</svg>\n";
    }

private:
    [[nodiscard]] std::string x(double pan_deg) const {
        return number((middle_deg_ + half_deg_ - pan_deg) * kUnitsPerDegree, 1);
    }
    [[nodiscard]] std::string y(double tilt_deg) const {
        return number((top_deg_ - tilt_deg) * kUnitsPerDegree, 1);
    }

    void grid() {
        const double step = half_deg_ > 60 ? 30 : half_deg_ > 20 ? 10 : 5;
        for (double pan = step * std::ceil((middle_deg_ - half_deg_) / step);
             pan <= middle_deg_ + half_deg_; pan += step) {
            const double shown = pan - 360 * std::ceil(pan / 360 - 0.5);
            out_ << "<line class=\"grid\" x1=\"" << x(pan) << "\" x2=\"" << x(pan)
                 << "\" y1=\"0\" y2=\"" << y(bottom_deg_) << "\"/><text class=\"tick\" x=\""
                 << x(pan) << "\" dx=\"3\" y=\"" << y(bottom_deg_) << "\" dy=\"-4\">"
                 << number(shown, 0) << "°</text>\n";
        }
        for (double tilt = step * std::ceil(bottom_deg_ / step); tilt <= top_deg_; tilt += step)
            out_ << "<line class=\"grid\" x1=\"0\" x2=\"" << x(middle_deg_ - half_deg_)
                 << "\" y1=\"" << y(tilt) << "\" y2=\"" << y(tilt)
                 << "\"/><text class=\"tick\" x=\"3\" y=\"" << y(tilt) << "\" dy=\"-3\">"
                 << number(tilt, 0) << "°</text>\n";
    }

    // Where a plate leaves the drawing on one side it comes in again on the other.
    void plate(const ListedShot& shot) {
        double least = 1e9, most = -1e9;
        for (const auto& place : shot.outline_deg)
            least = std::min(least, place.x()), most = std::max(most, place.x());
        for (int turn = -2; turn <= 2; ++turn) {
            const double by = 360.0 * turn;
            if (most + by < middle_deg_ - half_deg_ || least + by > middle_deg_ + half_deg_)
                continue;
            out_ << "<polygon class=\"plate\" points=\"";
            for (const auto& place : shot.outline_deg)
                out_ << x(place.x() + by) << ',' << y(place.y()) << ' ';
            out_ << "\"/>\n";
        }
    }

    void labels() {
        const double inset = 20 / kUnitsPerDegree;
        for (size_t i = 0; i < list_.shots.size(); ++i) {
            const auto& pose = list_.shots[i].pose;
            double pan = pose.pan_deg;
            pan += 360 * std::round((middle_deg_ - pan) / 360);
            pan = std::clamp(pan, middle_deg_ - half_deg_ + inset, middle_deg_ + half_deg_ - inset);
            const double tilt = std::clamp(pose.tilt_deg, bottom_deg_ + inset, top_deg_ - inset);
            out_ << "<text class=\"number\" x=\"" << x(pan) << "\" y=\"" << y(tilt)
                 << "\" dy=\"8\">" << i + 1 << "</text>\n";
        }
    }

    std::ostream& out_;
    const ShotList& list_;
    double middle_deg_, half_deg_, bottom_deg_, top_deg_;
};

void writeTable(std::ostream& out, const ShotList& list) {
    const int decimals = decimalsOf(list);
    out << "<table><thead><tr><th></th><th>shot</th><th>row</th><th class=\"name\">plate</th>"
           "<th>pan&nbsp;°</th><th>tilt&nbsp;°</th><th>overlap</th><th>focus</th><th>T</"
           "th><th>ISO</th>"
           "<th>ND</th><th class=\"name\">note</th></tr></thead><tbody>\n";
    int row = 0;
    for (size_t i = 0; i < list.shots.size(); ++i) {
        const ListedShot& shot = list.shots[i];
        out << (shot.row != row ? "<tr class=\"first\">" : "<tr>")
            << "<td><span class=\"box\"></span></td><td>" << i + 1 << "</td><td>" << shot.row
            << "</td><td class=\"name\">" << htmlText(shot.file) << "</td><td>"
            << number(shot.pose.pan_deg, decimals) << "</td><td>"
            << number(shot.pose.tilt_deg, decimals) << "</td><td>";
        if (list.shots.size() > 1) out << number(std::floor(100 * shot.least_overlap), 0) << " %";
        out << "</td><td class=\"write\"></td><td class=\"write\"></td><td class=\"write\"></td>"
               "<td class=\"write\"></td><td class=\"write\"></td></tr>\n";
        row = shot.row;
    }
    out << "</tbody></table>\n";
}

}  // namespace

void writeShotPage(const std::filesystem::path& path, const ShotList& list) {
    std::ostringstream out;
    out << "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
           "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"><title>"
        << htmlText(list.title) << "</title><style>" << kStyle << "</style></head><body>\n<h1>"
        << htmlText(list.title) << "</h1>\n<p class=\"sub\">" << list.shots.size()
        << (list.shots.size() == 1 ? " plate" : " plates")
        << "; pan is positive to the left, tilt positive up.</p>\n<dl>\n";
    for (const auto& [what, value] : list.figures)
        out << "<dt>" << htmlText(what) << "</dt><dd>" << htmlText(value) << "</dd>\n";
    out << "</dl>\n<h2>Where the plates look</h2>\n";
    Drawing(out, list).draw();
    out << "<p class=\"legend\">Seen from the camera, the sphere unrolled. Dashed: the wanted "
           "cover. "
           "Shaded more darkly: where plates overlap.</p>\n<h2>Shots</h2>\n";
    writeTable(out, list);
    out << "<h2>Mind</h2>\n<ul>\n";
    for (const auto& caution : list.cautions) out << "<li>" << htmlText(caution) << "</li>\n";
    out << "</ul>\n</body></html>\n<!-- " << openMark(Made::plan) << " -->\n";
    writeText(path, out.str());
}

}  // namespace plateloom::io
