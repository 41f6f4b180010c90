#include <cmath>

#include "pipeline/base/angles.h"
#include "tests/bench/mosaic/against_truth.h"

namespace lookdown::bench {
namespace {

double hue_deg(double b, double a) {
  if (a == 0 && b == 0) return 0;
  const double hue = std::atan2(b, a) / kDegree;
  return hue < 0 ? hue + 360 : hue;
}

}  // namespace

// Equation numbers of Sharma, Wu & Dalal (2005).
double ciede2000(const cv::Vec3d& one, const cv::Vec3d& two) {
  const double mean_c = 0.5 * (std::hypot(one[1], one[2]) + std::hypot(two[1], two[2]));
  const double g =
      0.5 * (1 - std::sqrt(std::pow(mean_c, 7) / (std::pow(mean_c, 7) + std::pow(25.0, 7))));  // (4)
  const double a1 = (1 + g) * one[1], a2 = (1 + g) * two[1];
  const double c1 = std::hypot(a1, one[2]), c2 = std::hypot(a2, two[2]);
  const double h1 = hue_deg(one[2], a1), h2 = hue_deg(two[2], a2);
  double dh = h2 - h1;  // (10)
  if (c1 * c2 == 0)
    dh = 0;
  else if (dh > 180)
    dh -= 360;
  else if (dh < -180)
    dh += 360;
  const double dl = two[0] - one[0], dc = c2 - c1,
               big_dh = 2 * std::sqrt(c1 * c2) * std::sin(0.5 * dh * kDegree);  // (11)
  const double mean_l = 0.5 * (one[0] + two[0]), mean_cp = 0.5 * (c1 + c2);
  double mean_h = h1 + h2;  // (14)
  if (c1 * c2 != 0) {
    if (std::abs(h1 - h2) <= 180)
      mean_h *= 0.5;
    else
      mean_h = 0.5 * (mean_h + (mean_h < 360 ? 360 : -360));
  }
  const double t = 1 - 0.17 * std::cos((mean_h - 30) * kDegree) + 0.24 * std::cos(2 * mean_h * kDegree) +
                   0.32 * std::cos((3 * mean_h + 6) * kDegree) -
                   0.20 * std::cos((4 * mean_h - 63) * kDegree);                                       // (15)
  const double turn = 30 * std::exp(-std::pow((mean_h - 275) / 25, 2));                                // (16)
  const double rc = 2 * std::sqrt(std::pow(mean_cp, 7) / (std::pow(mean_cp, 7) + std::pow(25.0, 7)));  // (17)
  const double off = (mean_l - 50) * (mean_l - 50);
  const double sl = 1 + 0.015 * off / std::sqrt(20 + off), sc = 1 + 0.045 * mean_cp,
               sh = 1 + 0.015 * mean_cp * t;             // (18-20)
  const double rt = -std::sin(2 * turn * kDegree) * rc;  // (21)
  return std::sqrt(dl * dl / (sl * sl) + dc * dc / (sc * sc) + big_dh * big_dh / (sh * sh) +
                   rt * dc / sc * big_dh / sh);
}

}  // namespace lookdown::bench
