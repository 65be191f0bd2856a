#include "stitch/survey/clip_study.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <optional>

#include "calib/median.h"
#include "io/input_error.h"

namespace plateloom::stitch {

namespace {

constexpr size_t kAbout = 24;  // frames before and after that one is measured by
constexpr double kBlackShare = 1.0 / 64;

struct FrameLook {
    std::optional<io::FrameGlance> glance;
    std::string fault;
};

// A movie's frames one after the other, as its reader is quick at; files side by side.
std::vector<FrameLook> glancesOf(const io::Clip& clip, const std::vector<int64_t>& numbers) {
    std::vector<FrameLook> looks(numbers.size());
    const auto look = [&](size_t i) {
        try {
            looks[i].glance = io::glanceAt(clip.frame(numbers[i]));
        } catch (const io::InputError& error) {
            looks[i].fault = error.what();
        }
    };
    if (clip.movie)
        for (size_t i = 0; i < numbers.size(); ++i) look(i);
    else
        tbb::parallel_for(size_t(0), numbers.size(), look);
    return looks;
}

}  // namespace

std::vector<size_t> blackOnes(const std::vector<double>& light) {
    // The median of all frames about: a take that is dark for long is dark, not faulty.
    std::vector<size_t> black;
    for (size_t i = 0; i < light.size(); ++i) {
        const size_t begin = i > kAbout ? i - kAbout : 0;
        const size_t end = std::min(i + kAbout + 1, light.size());
        const double usual =
            calib::median({light.begin() + ptrdiff_t(begin), light.begin() + ptrdiff_t(end)});
        if (usual > 0 && light[i] < kBlackShare * usual) black.push_back(i);
    }
    return black;
}

ClipStudy studyClip(const io::Clip& clip, int64_t first, int64_t last) {
    std::vector<int64_t> numbers;
    for (const int64_t number : clip.numbers)
        if (number >= first && number <= last) numbers.push_back(number);
    const std::vector<FrameLook> looks = glancesOf(clip, numbers);
    ClipStudy study;
    std::vector<double> light;
    std::vector<int64_t> seen;
    for (size_t i = 0; i < looks.size(); ++i) {
        if (!looks[i].glance) {
            study.damaged.emplace_back(numbers[i], looks[i].fault);
            continue;
        }
        light.push_back(looks[i].glance->light);
        seen.push_back(numbers[i]);
        const bool follows = i > 0 && looks[i - 1].glance && numbers[i] == numbers[i - 1] + 1;
        if (follows && looks[i].glance->fingerprint == looks[i - 1].glance->fingerprint)
            study.frozen.push_back(numbers[i]);
    }
    for (const size_t i : blackOnes(light)) study.black.push_back(seen[i]);
    // Black frames are alike; that they are is nothing to tell as well.
    std::erase_if(study.frozen, [&](int64_t number) {
        return std::binary_search(study.black.begin(), study.black.end(), number);
    });
    return study;
}

}  // namespace plateloom::stitch
