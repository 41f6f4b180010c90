// Counter-based random numbers and the noise fields from which all textures are made: every value depends on
// its coordinates and a seed alone, so that the result does not depend on the order of evaluation.
#pragma once

#include <cmath>
#include <cstdint>

namespace render {

inline uint32_t hash(uint32_t a, uint32_t b = 0, uint32_t c = 0) {
  uint32_t h = a * 0x9E3779B1U ^ (b + 0x7F4A7C15U) * 0x85EBCA6BU ^ (c + 0x165667B1U) * 0xC2B2AE35U;
  h ^= h >> 16;
  h *= 0x7FEB352DU;
  h ^= h >> 15;
  h *= 0x846CA68BU;
  h ^= h >> 16;
  return h;
}
// Uniform in [0, 1).
inline float unit_float(uint32_t h) {
  return static_cast<float>(h >> 8) * (1.0F / 16777216.0F);
}

// A stream of random numbers for layout and trajectory, the same on every machine.
class RandomStream {
 public:
  explicit RandomStream(uint32_t seed, uint32_t purpose = 0) : seed_(hash(seed, purpose, 77)) {}
  uint32_t bits() { return hash(seed_, counter_++, 13); }
  double uniform(double lo = 0, double hi = 1) { return lo + (hi - lo) * (bits() / 4294967296.0); }
  int integer(int lo, int hi) { return lo + static_cast<int>(uniform() * (hi - lo + 1)); }
  double normal() {
    const double u = uniform() + 1e-12, v = uniform();
    return std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586 * v);
  }

 private:
  uint32_t seed_;
  uint32_t counter_ = 0;
};

inline int floor_int(float v) {
  const int i = static_cast<int>(v);
  return i - (v < static_cast<float>(i) ? 1 : 0);
}

// Smooth lattice noise in [0, 1], feature size 1.
inline float value_noise(float x, float y, uint32_t seed) {
  const int ix = floor_int(x), iy = floor_int(y);
  float fx = x - static_cast<float>(ix), fy = y - static_cast<float>(iy);
  fx = fx * fx * (3 - 2 * fx);
  fy = fy * fy * (3 - 2 * fy);
  const auto at = [&](int i, int j) { return unit_float(hash(uint32_t(ix + i), uint32_t(iy + j), seed)); };
  const float top = at(0, 0) + fx * (at(1, 0) - at(0, 0));
  const float bottom = at(0, 1) + fx * (at(1, 1) - at(0, 1));
  return top + fy * (bottom - top);
}

// Sum of octaves in [0, 1]; each octave turned a little, which hides the lattice.
inline float fractal_noise(float x, float y, int octaves, uint32_t seed, float gain = 0.5F) {
  float sum = 0, weight = 1, total = 0;
  for (int i = 0; i < octaves; ++i) {
    sum += weight * value_noise(x, y, seed + uint32_t(i) * 101U);
    total += weight;
    weight *= gain;
    const float turned = 1.62F * x + 1.18F * y + 17.3F;
    y = -1.18F * x + 1.62F * y + 5.1F;
    x = turned;
  }
  return sum / total;
}

// The nearest of randomly scattered points, one in each unit cell.
struct CellHit {
  float nearest, second;  // distances
  uint32_t id;            // random bits of the nearest point
};
inline CellHit cell_noise(float x, float y, uint32_t seed) {
  const int ix = floor_int(x), iy = floor_int(y);
  CellHit hit{9, 9, 0};
  for (int j = -1; j <= 1; ++j)
    for (int i = -1; i <= 1; ++i) {
      const uint32_t h = hash(uint32_t(ix + i), uint32_t(iy + j), seed);
      const float dx = static_cast<float>(ix + i) + static_cast<float>(h & 0xFFFF) / 65536.0F - x;
      const float dy = static_cast<float>(iy + j) + static_cast<float>(h >> 16) / 65536.0F - y;
      const float d = dx * dx + dy * dy;
      if (d < hit.nearest) {
        hit.second = hit.nearest;
        hit.nearest = d;
        hit.id = h * 0x9E3779B1U ^ (h >> 13);
      } else if (d < hit.second) {
        hit.second = d;
      }
    }
  hit.nearest = std::sqrt(hit.nearest);
  hit.second = std::sqrt(hit.second);
  return hit;
}

}  // namespace render
