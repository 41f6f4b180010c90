#include "stages/cull/spectrum/mtf_lobes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace lookdown::cull {
namespace {

struct Lobe {
  float value, derivative;
};

constexpr float kStep = 0.005F;
constexpr int kEntries = 8200;  // to r = 41: 80 px at 0.51 cycles/px

// The exact functions cost more than all the rest of a fit.
const std::array<Lobe, kEntries>& jinc_table() {
  static const std::array<Lobe, kEntries> table = [] {
    std::array<Lobe, kEntries> t{};
    t[0] = {1, 0};
    for (int i = 1; i < kEntries; ++i) {
      const double x = 2 * std::numbers::pi * i * kStep, jinc = 2 * ::j1(x) / x;
      // d/dx (J1(x) / x) = -J2(x) / x.
      t[i] = {static_cast<float>(jinc * jinc),
              static_cast<float>(2 * jinc * (-2 * ::jn(2, x) / x) * 2 * std::numbers::pi)};
    }
    return t;
  }();
  return table;
}

}  // namespace

void squared_sinc(const SampleNumbers& s, SampleNumbers& value, SampleNumbers& derivative) {
  constexpr float pi = std::numbers::pi_v<float>, least = 1e-2F;
  // Held off zero, where the quotients cancel; the value there is 1 - 3e-4.
  const SampleNumbers away = (s.abs() < least).select(least, s);
  const SampleNumbers ratio = (pi * away).sin() / (pi * away);
  value = ratio.square();
  derivative = 2 * ratio * ((pi * away).cos() - ratio) / away;
}

void squared_jinc(const SampleNumbers& r, SampleNumbers& value, SampleNumbers& derivative) {
  const auto& table = jinc_table();
  value.resize(r.size());
  derivative.resize(r.size());
  for (Eigen::Index i = 0; i < r.size(); ++i) {
    const float position = std::abs(r[i]) * (1 / kStep);
    const int low = std::min(kEntries - 2, static_cast<int>(position));
    const float share = std::min(1.0F, position - static_cast<float>(low));
    const Lobe &a = table[low], &b = table[low + 1];
    value[i] = a.value * (1 - share) + b.value * share;
    derivative[i] = a.derivative * (1 - share) + b.derivative * share;
  }
}

}  // namespace lookdown::cull
