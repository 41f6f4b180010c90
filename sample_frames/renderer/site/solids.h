// Rays against blocks, blobs and rods.
#pragma once

#include <optional>

#include "site/site.h"

namespace render {

struct SolidHit {
  double distance_m;
  Vec3 normal;
  double u_m = 0, v_m = 0;  // face coordinates of a block
  bool is_roof = false;
};

std::optional<SolidHit> hit_block(const Block& block, Vec3 from, Vec3 direction);
std::optional<SolidHit> hit_blob(const Blob& blob, Vec3 from, Vec3 direction);
std::optional<SolidHit> hit_rod(const Rod& rod, Vec3 from, Vec3 direction);

}  // namespace render
