#include "plane_score.h"

#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "placement_score.h"

namespace lookdown::bench {
namespace {

using nlohmann::json;
using Complex = std::complex<double>;
using Outline = std::vector<Complex>;

double area(const Outline& o) {
  double twice = 0;
  for (std::size_t i = 0; i < o.size(); ++i) twice += std::imag(std::conj(o[i]) * o[(i + 1) % o.size()]);
  return std::abs(twice) / 2;
}

/// Even-odd rule.
bool inside(const Outline& o, Complex p) {
  bool in = false;
  for (std::size_t i = 0, j = o.size() - 1; i < o.size(); j = i++)
    if ((o[i].imag() > p.imag()) != (o[j].imag() > p.imag()) &&
        p.real() < (o[j].real() - o[i].real()) * (p.imag() - o[i].imag()) / (o[j].imag() - o[i].imag()) +
                       o[i].real())
      in = !in;
  return in;
}

Outline grown(Outline o, double share) {
  Complex middle;
  for (const Complex& p : o) middle += p / double(o.size());
  for (Complex& p : o) p = middle + (1 + share) * (p - middle);
  return o;
}

struct Roof {
  double height = 0;
  Outline outline;
};

std::vector<Roof> true_roofs(const json& truth) {
  std::vector<Roof> roofs;
  if (!truth.contains("relief")) return roofs;
  for (const json& block : truth["relief"]["blocks"]) {
    roofs.push_back({block.at("height_m"), {}});
    for (const json& p : block.at("outline")) roofs.back().outline.emplace_back(p[0], p[1]);
  }
  return roofs;
}

FoundRoof compared(const Roof& found, double sigma, const std::vector<Roof>& truth,
                   std::set<std::size_t>& met) {
  std::map<double, std::set<std::size_t>> roofs_of_height;
  std::map<double, std::size_t> corners_of_height;
  for (const Complex& corner : found.outline) {
    std::set<double> heights;
    for (std::size_t i = 0; i < truth.size(); ++i)
      if (inside(grown(truth[i].outline, 0.05), corner)) {
        roofs_of_height[truth[i].height].insert(i);
        heights.insert(truth[i].height);
      }
    for (const double h : heights) ++corners_of_height[h];
  }
  FoundRoof roof{found.height, sigma, 0, 0, 0};
  std::size_t most = 0;
  for (const auto& [height, corners] : corners_of_height)
    if (corners > most) most = corners, roof.true_height = height;
  if (most == 0) return roof;
  roof.share_inside = double(most) / double(found.outline.size());
  double whole = 0;
  for (const std::size_t i : roofs_of_height[roof.true_height])
    whole += area(truth[i].outline), met.insert(i);
  roof.area_share = area(found.outline) / whole;
  return roof;
}

}  // namespace

PlaneScore score_planes(const std::filesystem::path& truth_json, const std::filesystem::path& placement_json,
                        const PlacementScore& score) {
  const json placement = read_json(placement_json);
  const std::vector<Roof> truth = true_roofs(read_json(truth_json));
  const double mosaic_px = placement.at("gsd_m").is_null() ? 1 : placement.at("gsd_m").get<double>();
  const double truth_units = 1 / (mosaic_px * std::abs(score.mosaic_from_ground));
  PlaneScore planes;
  planes.true_roofs = int(truth.size());
  std::set<std::size_t> met;
  for (const json& plane : placement.at("planes")) {
    if (!plane.contains("outlines_px")) continue;
    for (const json& outline : plane.at("outlines_px")) {
      Roof found{plane.at("height").get<double>() * truth_units, {}};
      for (const json& p : outline)
        found.outline.push_back((Complex(p[0], -p[1].get<double>()) - score.mosaic_shift) /
                                score.mosaic_from_ground);
      planes.found.push_back(compared(found, plane.at("sigma").get<double>() * truth_units, truth, met));
    }
  }
  planes.true_roofs_found = int(met.size());
  return planes;
}

}  // namespace lookdown::bench
