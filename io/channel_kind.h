// What the channels of a frame hold, told from their names and types, so that a warp treats each as
// it must be treated. Names are OpenEXR's: the part after the last dot is the channel, what stands
// before it the layer (OpenEXR, Technical Introduction); upper and lower case are the same.
//
//   colour     R, G, B or Y, in no layer or in a layer of light: filtered; the lens shades it
//   coverage   A, alpha, OpenEXR's AR, AG, AB: filtered
//   mixture    every other floating-point channel (mattes, masks, weights): filtered
//              Where all of such a channel lies within 0 and 1 it is kept within.
//   surface    what belongs to one surface and can't be averaged with the next one's: the nearest
//              sample, bit for bit. That is every whole-number channel; Z, ZBack, depth; ids; and
//              all of a layer named for positions, normals, motion, texture coordinates, depth or
//              ids (also hashed ids with their coverages, whose layers begin with "crypto").
#pragma once

#include <string>
#include <vector>

namespace plateloom::io {

enum class ChannelKind { colour, coverage, mixture, surface };

[[nodiscard]] inline bool isFiltered(ChannelKind kind) {
    return kind != ChannelKind::surface;
}

/// Of all channels of a part; `whole_numbers` says which have 32-bit integers for samples. (A layer
/// with x, y and z is a vector of a surface, whatever its name.)
[[nodiscard]] std::vector<ChannelKind> kindsOfChannels(const std::vector<std::string>& names,
                                                       const std::vector<bool>& whole_numbers);

}  // namespace plateloom::io
