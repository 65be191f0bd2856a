#include "io/channel_kind.h"

#include <catch2/catch.hpp>

using plateloom::io::ChannelKind;
using plateloom::io::kindsOfChannels;

namespace {

ChannelKind kindOf(const std::string& name, bool whole = false) {
    return kindsOfChannels({name}, {whole}).front();
}

}  // namespace

TEST_CASE("Light is colour in any layer, whatever the case") {
    for (const char* name : {"R", "g", "B", "Y", "beauty.R", "diffuse.blue", "left.main.G"})
        CHECK(kindOf(name) == ChannelKind::colour);
}

TEST_CASE("Alpha is coverage; mattes and what nobody knows are filtered as they are") {
    for (const char* name : {"A", "beauty.A", "fg.alpha", "AR"})
        CHECK(kindOf(name) == ChannelKind::coverage);
    for (const char* name : {"matte.R", "masks.hero", "id_matte.G", "hero_matte", "fog"})
        CHECK(kindOf(name) == ChannelKind::mixture);
}

TEST_CASE("Depth, ids, whole numbers and surface vectors take the nearest sample") {
    for (const char* name : {"Z", "ZBack", "depth.Z", "depth.R", "position.R", "N.x", "motion.u",
                             "uv.G", "crypto_object00.R", "objectId", "P.B"})
        CHECK(kindOf(name) == ChannelKind::surface);
    CHECK(kindOf("R", true) == ChannelKind::surface);
    const auto vector = kindsOfChannels({"flow.x", "flow.y", "flow.z"}, {false, false, false});
    for (const auto kind : vector) CHECK(kind == ChannelKind::surface);
}
