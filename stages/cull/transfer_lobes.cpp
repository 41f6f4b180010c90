#include "stages/cull/transfer_lobes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace lookdown::cull {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kStep = 0.005;
constexpr int kEntries = 8200;  // to r = 41: 80 px at 0.51 cycles/px

// The exact functions cost more than all the rest of a fit.
const std::array<Lobe, kEntries>& jinc_table() {
  static const std::array<Lobe, kEntries> table = [] {
    std::array<Lobe, kEntries> t{};
    t[0] = {1, 0};
    for (int i = 1; i < kEntries; ++i) {
      const double x = 2 * kPi * i * kStep, jinc = 2 * ::j1(x) / x;
      // d/dx (J1(x) / x) = -J2(x) / x.
      t[i] = {jinc * jinc, 2 * jinc * (-2 * ::jn(2, x) / x) * 2 * kPi};
    }
    return t;
  }();
  return table;
}

}  // namespace

Lobe squared_sinc(double s) {
  const double x = kPi * s;
  if (std::abs(x) < 1e-3) return {1 - x * x / 3, -2 * kPi * x / 3};
  const double sine = std::sin(x), ratio = sine / x;
  return {ratio * ratio, 2 * ratio * (std::cos(x) - ratio) / s};
}

Lobe squared_jinc(double r) {
  const auto& table = jinc_table();
  const double position = std::abs(r) / kStep;
  const int low = std::min(kEntries - 2, static_cast<int>(position));
  const double share = std::min(1.0, position - low);
  const Lobe &a = table[low], &b = table[low + 1];
  return {a.value * (1 - share) + b.value * share, a.derivative * (1 - share) + b.derivative * share};
}

}  // namespace lookdown::cull
