// Squared transfer functions of a uniform smear and of a uniform disc.
#pragma once

namespace lookdown::cull {

struct Lobe {
  double value, derivative;
};

/// (sin(pi s) / (pi s))^2 and its derivative by s.
[[nodiscard]] Lobe squared_sinc(double s);

/// (2 J1(2 pi r) / (2 pi r))^2 and its derivative by r; from a table, to 1e-4.
[[nodiscard]] Lobe squared_jinc(double r);

}  // namespace lookdown::cull
