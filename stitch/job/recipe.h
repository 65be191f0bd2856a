// What a picture was made from, as a fingerprint that is written into it: a job that is taken up
// again keeps the pictures that it would make the same, and only those.
#pragma once

#include <cstdint>
#include <filesystem>
#include <initializer_list>
#include <string>

#include "calib/lens.h"
#include "io/plate_file.h"

namespace plateloom::stitch {

/// FNV-1a, 64 bits (Fowler, Noll, Vo; IETF draft-eastlake-fnv): the chance that two recipes of one
/// file meet is nil, and nobody is out to make them.
class Recipe {
public:
    /// `what` names the job, so that two kinds of picture never share a recipe.
    explicit Recipe(const std::string& what);
    void add(const std::string& text);
    void add(std::initializer_list<double> values);
    void add(const calib::LensMap& lens);
    /// By its path, its size and when it was last changed.
    /// Of a movie's plate which frame it is, too; and how its pixels become light of the job's
    /// primaries.
    void addPlate(const io::PlateFile& plate);
    /// How a colour space is converted: by its name, and by what $OCIO's configuration makes of it.
    void addConversion(const std::string& colour_space);
    void addFile(const std::filesystem::path& path);
    /// 16 hexadecimal digits.
    [[nodiscard]] std::string text() const;

private:
    void add(const void* bytes, size_t count);
    uint64_t hash_ = 0xcbf29ce484222325u;
};

}  // namespace plateloom::stitch
