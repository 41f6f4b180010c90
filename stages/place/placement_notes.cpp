#include "stages/place/placement_notes.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace lookdown::place {

void note_planes(FlightRecord& flight) {
  const FlightPlacement& p = flight.placement;
  for (std::size_t i = 0; i < p.raised_planes.size(); ++i) {
    const RaisedPlane& plane = p.raised_planes[i];
    const double sigma = std::hypot(plane.sigma, p.scale_sigma_share.value_or(0) * plane.height);
    // To the second digit of its standard deviation, so that what is known is not rounded to nothing.
    const int digits = sigma > 0 ? std::clamp(1 - int(std::floor(std::log10(sigma))), 0, 4) : 2;
    flight.notes.push_back(fmt::format(
        "Plane {} lies {:.{}f} +- {:.{}f} {} {} the ground ({} tie points); --show-plane {} shows it "
        "straight down.",
        i + 1, std::abs(plane.height), digits, sigma, digits, p.gsd_m ? "m" : "mosaic pixels",
        plane.height < 0 ? "below" : "above", plane.tie_points, i + 1));
  }
}

void note_relief(const Relief& relief, FlightRecord& flight) {
  const FlightPlacement& p = flight.placement;
  flight.notes.push_back(fmt::format(
      "The ground is not flat: {:.0f} % of the tie points lie surely off its mean plane, by {:.{}f} {} "
      "(robust standard deviation); heights of tie points are known to {:.{}f} {}. The flight was adjusted "
      "in space.",
      100 * relief.raised_share, p.relief_spread, p.gsd_m ? 2 : 1, p.gsd_m ? "m" : "mosaic pixels",
      p.height_sigma, p.gsd_m ? 2 : 1, p.gsd_m ? "m" : "mosaic pixels"));
}

void note_guessed_tilt(std::size_t frames, FlightRecord& flight) {
  flight.warnings.push_back(fmt::format(
      "{} frames alone do not tell which way their ground lies, and they do not seem to look straight down: "
      "they are joined, but their tilts are a guess and lengths in their picture may be distorted",
      frames));
}

void note_parts(const std::vector<std::vector<int>>& parts, int shown, FlightRecord& flight) {
  if (parts.size() < 2) return;
  constexpr std::size_t kMostNamed = 4;
  std::string list;
  for (std::size_t i = 0; i < std::min(parts.size(), kMostNamed); ++i)
    list += fmt::format("{}part {} has {} frames ({} ... {})", i > 0 ? ", " : "", i + 1, parts[i].size(),
                        flight.frames[std::size_t(parts[i].front())].source.file,
                        flight.frames[std::size_t(parts[i].back())].source.file);
  if (parts.size() > kMostNamed) list += fmt::format(", {} more are no larger", parts.size() - kMostNamed);
  flight.warnings.push_back(fmt::format(
      "the frames fall into {} parts that are not connected, so that where they lie against each "
      "other is not known: {}. The mosaic shows part {}; for another run again with --part {} and "
      "another output folder. More overlap joins parts of one place",
      parts.size(), list, shown, shown == 1 ? 2 : 1));
}

}  // namespace lookdown::place
