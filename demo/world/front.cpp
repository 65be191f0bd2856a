// The fronts of houses, boxes and posts.
#include <algorithm>
#include <cmath>

#include "world/noise.h"
#include "world/surface.h"

namespace plateloom::world {

namespace {

constexpr double kShopFloor_m = 4.4, kStorey_m = 3.2, kWindowPitch_m = 2.4, kPosterPitch_m = 1.6;

Rgb plaster(const House& house, float u, float v, bool detail) {
    const float scale = detail ? 1.0f : 0.35f;
    const float blotches =
        octaves(u * 0.7f * scale, v * 0.7f * scale, detail ? 6 : 5, 0.78f, house.seed);
    const float streaks = valueNoise(u * 5.0f * scale, v * 0.35f, house.seed + 3);
    Rgb colour = house.albedo * (1.0f + house.texture * (0.55f * blotches + 0.10f * streaks));
    if (!detail || house.texture < 0.5f) return colour;
    // Here and there the plaster has been mended, and a crack runs.
    const float mended = valueNoise(u * 0.9f + 7, v * 0.9f, house.seed + 11) + 0.25f * blotches;
    if (mended > 0.62f) colour = colour * 0.55f + Rgb(0.2f, 0.19f, 0.18f);
    const float crack = valueNoise(u * 0.6f, v * 0.5f, house.seed + 12) + 0.5f * blotches;
    if (std::abs(crack) < 0.006f) colour *= 0.55f;
    return colour;
}

Rgb brick(const House& house, float u, float v) {
    constexpr float kCourse_m = 0.09f, kLength_m = 0.28f, kJoint_m = 0.014f;
    const float row = std::floor(v / kCourse_m);
    const float shifted = u / kLength_m + 0.5f * row;
    const float column = std::floor(shifted);
    const float in_u = (shifted - column) * kLength_m, in_v = v - row * kCourse_m;
    const float stain =
        1.0f + house.texture * 0.35f * octaves(u * 0.8f, v * 0.8f, 4, 0.75f, house.seed);
    if (in_u < kJoint_m || in_v < kJoint_m) return Rgb(0.36f, 0.34f, 0.31f) * stain;
    const float tint =
        0.97f + house.texture * 0.5f *
                    (unit(hash(uint32_t(int(row)), uint32_t(int(column)), house.seed)) - 0.5f);
    return Rgb(0.36f, 0.17f, 0.11f) * (tint * stain);
}

Rgb wallFinish(const House& house, float u, float v, bool detail) {
    if (house.finish == Finish::brick && detail) return brick(house, u, v);
    Rgb colour = plaster(house, u, v, detail);
    if (house.finish == Finish::panels && detail) {
        const float in_u = u - 1.2f * std::floor(u / 1.2f), in_v = v - 0.8f * std::floor(v / 0.8f);
        if (in_u < 0.03f || in_v < 0.03f) colour *= 0.6f;
    }
    return colour;
}

// One print, pasted everywhere: a frame, a disc and lines of blocks that stand for words.
Rgb poster(float x, float y) {  // both in [0, 1], y up
    if (x < 0.05f || x > 0.95f || y < 0.04f || y > 0.96f) return {0.7f, 0.68f, 0.6f};
    const float dx = (x - 0.5f) * 0.7f, dy = y - 0.62f;
    const float r2 = dx * dx + dy * dy;
    if (r2 < 0.045f)
        return r2 > 0.028f && r2 < 0.034f ? Rgb(0.7f, 0.62f, 0.4f) : Rgb(0.62f, 0.14f, 0.08f);
    const float line = std::floor(y * 26), place = std::floor(x * 24);
    const bool words = y < 0.38f && (int(line) & 1) == 0 && x > 0.12f && x < 0.88f;
    if (words && unit(hash(uint32_t(line), uint32_t(place), 4711)) < 0.7f)
        return {0.05f, 0.05f, 0.07f};
    return {0.66f, 0.56f, 0.28f};
}

// How strongly a window is lit; 0 is dark.
float lightBehind(const House& house, int column, int floor) {
    if (house.lit_by_rule) return (column + floor) % 3 == 0 ? 1.0f : 0.0f;
    const uint32_t die = hash(uint32_t(column), uint32_t(floor), house.seed + 21);
    if (unit(die) >= 0.28f) return 0.0f;
    return (die & 1) ? 1.0f : 0.5f;
}

// Every window of the square. x to the right, y up, metres from the cell's lower left corner.
bool windowAt(float x, float y, float lit, Surface& out) {
    constexpr float kLeft = 0.62f, kRight = 1.78f, kSill = 0.85f, kHead = 2.62f;
    if (x > kLeft - 0.22f && x < kRight + 0.22f && y > kSill - 0.2f && y < kSill - 0.05f) {
        out.albedo = {0.5f, 0.49f, 0.46f};
        return true;
    }
    if (x < kLeft - 0.12f || x > kRight + 0.12f || y < kSill - 0.05f || y > kHead + 0.14f)
        return false;
    if (x < kLeft || x > kRight || y < kSill || y > kHead) {
        out.albedo = {0.52f, 0.5f, 0.46f};
        return true;
    }
    const float middle = 0.5f * (kLeft + kRight);
    const bool bar = std::abs(x - middle) < 0.035f || std::abs(y - 2.0f) < 0.03f ||
                     x < kLeft + 0.05f || x > kRight - 0.05f || y < kSill + 0.06f ||
                     y > kHead - 0.05f;
    if (bar) {
        out.albedo = {0.42f, 0.41f, 0.4f};
        return true;
    }
    out.albedo = {0.02f, 0.022f, 0.025f};
    out.sky = 0.25f;
    if (lit > 0) {
        const float aside = std::min(x - kLeft, kRight - x);
        const float folds = 0.75f + 0.25f * std::sin(x * 46.0f);
        const float curtain = aside < 0.28f ? 0.45f * folds : 1.0f;
        const float fall = 0.55f + 0.45f * (y - kSill) / (kHead - kSill);
        out.emitted = Rgb(0.75f, 0.51f, 0.26f) * (lit * curtain * fall);
    }
    return true;
}

// What every shop shows: the same shelves with the same boxes on them.
Rgb goodsBehindGlass(float x, float y) {
    const float shelf = std::floor(y / 0.5f), on_shelf = y - 0.5f * shelf;
    const float place = std::floor(x / 0.19f);
    const uint32_t die = hash(uint32_t(int(shelf)), uint32_t(int(place)), 2099);
    const float tall = 0.12f + 0.3f * unit(die);
    Rgb back = Rgb(0.36f, 0.29f, 0.19f) * (0.35f + 0.25f * y);
    if (on_shelf > tall) return back;
    Rgb box(0.35f + 0.3f * unit(die * 3), 0.22f + 0.2f * unit(die * 5),
            0.10f + 0.25f * unit(die * 7));
    return box * (0.35f + 0.65f * unit(die * 9)) * (0.75f - on_shelf);
}

bool groundFloorAt(const House& house, float u, float v, float width, Surface& out) {
    if (house.posters && v > 1.0f && v < 2.4f && u > 0.6f && u < width - 0.6f) {
        const float x = (u - 0.6f) - float(kPosterPitch_m) * std::floor((u - 0.6f) / 1.6f);
        if (x > 1.0f) return false;
        out.albedo = poster(x, (v - 1.0f) / 1.4f);
        return true;
    }
    const float pane = u - 2.4f * std::floor(u / 2.4f);
    if (house.shop && v > 0.6f && v < 3.2f && pane > 0.15f && pane < 2.25f) {
        const bool bar =
            pane < 0.23f || pane > 2.17f || v < 0.7f || v > 3.1f || std::abs(pane - 1.2f) < 0.03f;
        out.albedo = bar ? Rgb(0.1f, 0.14f, 0.12f) : Rgb(0.02f, 0.02f, 0.02f);
        out.sky = bar ? 0.0f : 0.2f;
        if (!bar) out.emitted = goodsBehindGlass(pane, v);
        return true;
    }
    if (!house.shop && !house.posters && pane > 0.7f && pane < 1.7f && v < 2.5f) {
        const bool panel = std::abs(pane - 1.2f) > 0.12f && std::abs(pane - 1.2f) < 0.4f &&
                           std::abs(v - 1.3f) > 0.15f && v > 0.25f && v < 2.3f;
        out.albedo = Rgb(0.16f, 0.12f, 0.09f) * (panel ? 0.7f : 1.0f);
        return true;
    }
    return false;
}

}  // namespace

double topOf(const House& house, double along_m) {
    const double width = house.to_m - house.from_m;
    const double slant = 1.0 - std::abs(2.0 * (along_m - house.from_m) / width - 1.0);
    const double roof = house.eaves_m + house.gable_m * slant;
    return std::abs(along_m - house.chimney_at_m) < 0.45 ? roof + 1.3 : roof;
}

const House& houseAt(const Wall& wall, double along_m) {
    for (const House& house : wall.houses)
        if (along_m < house.to_m) return house;
    return wall.houses.back();
}

Surface frontAt(const House& house, double along_m, double above_m, bool detail) {
    Surface out;
    const float u = float(along_m - house.from_m), v = float(above_m);
    const float width = float(house.to_m - house.from_m);
    if (v > house.eaves_m - 0.35 && v < house.eaves_m) {  // cornice
        const float shade = v > house.eaves_m - 0.2 ? 1.0f : 0.6f;
        out.albedo =
            Rgb(0.5f, 0.48f, 0.44f) * shade *
            (1.0f + house.texture * 0.3f * octaves(u * 2.0f, v * 4.0f, 3, 0.7f, house.seed + 9));
        return out;
    }
    const float margin = 0.5f * (width - 2.4f * std::floor(width / 2.4f));
    if (v < kShopFloor_m) {
        if (groundFloorAt(house, u, v, width, out)) return out;
    } else if (v < kShopFloor_m + house.floors * kStorey_m) {
        const float floor = std::floor((v - 4.4f) / float(kStorey_m));
        const float column = std::floor((u - margin) / float(kWindowPitch_m));
        const bool whole = column >= 0 && column < std::floor(width / 2.4f);
        const float lit = lightBehind(house, int(column), int(floor));
        const float x = (u - margin) - column * float(kWindowPitch_m);
        const float y = (v - 4.4f) - floor * float(kStorey_m);
        if (whole && windowAt(x, y, lit, out)) return out;
        if (y < 0.12f) {
            out.albedo = plaster(house, u, v, detail) * 1.15f;
            return out;
        }
    }
    out.albedo = wallFinish(house, u, v, detail);
    if (v < 0.5f) out.albedo *= 0.55f;                       // plinth
    if (std::min(u, width - u) < 0.12f) out.albedo *= 0.7f;  // down-pipe, joint
    return out;
}

Surface boxAt(const Block& block, int face, double along_m, double above_m) {
    Surface out;
    const float u = float(along_m), v = float(above_m);
    const uint32_t seed = block.seed + uint32_t(face);
    const float worn = 1.0f + 0.25f * octaves(u * 3, v * 3, 4, 0.7f, seed);
    if (block.kind == Block::Kind::tram) {
        const float pane = u - 1.1f * std::floor(u / 1.1f);
        out.albedo = (v < 1.1f ? Rgb(0.5f, 0.09f, 0.07f) : Rgb(0.6f, 0.55f, 0.42f)) * worn;
        if (v > 1.25f && v < 2.25f && pane > 0.08f && pane < 1.02f) {
            out.albedo = {0.03f, 0.03f, 0.03f};
            // Seat backs below, a rail above.
            const float seat = u - 0.55f * wholeBelow(u / 0.55f);
            const bool seats = v < 1.6f && seat > 0.08f && seat < 0.45f;
            const float ceiling = 0.25f + 0.25f * (v - 1.25f);
            out.emitted = Rgb(0.95f, 0.9f, 0.7f) * (seats ? 0.08f : ceiling);
            if (std::abs(v - 2.0f) < 0.02f) out.emitted *= 0.3f;
        }
        return out;
    }
    out.albedo = Rgb(0.14f, 0.2f, 0.17f) * worn;
    const float x = u - 1.1f * std::floor(u / 1.1f);
    if (v > 0.7f && v < 2.1f && x > 0.05f && x < 1.05f)
        out.albedo = poster(x - 0.05f, (v - 0.7f) / 1.4f);
    return out;
}

Surface postAt(const Post& post, double round_m, double height_m) {
    Surface out;
    out.albedo = post.albedo;
    if (post.rough)
        out.albedo *= 1.0f + 0.5f * octaves(float(round_m) * 4, float(height_m) * 4, 4, 0.75f,
                                            post.seed + 31);
    return out;
}

}  // namespace plateloom::world
