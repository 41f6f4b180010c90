#include "site/people.h"

#include "site/layout_plots.h"
#include "site/noise.h"

namespace render {

std::vector<Blob> people_at(const Site& site, double time_s) {
  static const Rgb clothes[] = {{0.45F, 0.08F, 0.06F}, {0.07F, 0.12F, 0.35F}, {0.6F, 0.5F, 0.08F},
                                {0.08F, 0.08F, 0.08F}, {0.6F, 0.6F, 0.6F},    {0.7F, 0.28F, 0.05F}};
  std::vector<Blob> people;
  const double area = (site.high.x - site.low.x) * (site.high.y - site.low.y);
  const int count = std::max(3, static_cast<int>(area / 1200));
  for (int i = 0; i < count; ++i) {
    RandomStream random(site.seed, 4000 + uint32_t(i));
    const Vec2 size = site.high - site.low;
    Vec2 home;
    for (int attempt = 0; attempt < 40; ++attempt) {
      home = {site.low.x + random.uniform() * size.x, site.low.y + random.uniform() * size.y};
      if (is_open_ground(site, home, 0.6)) break;
    }
    const double pace = random.uniform(20, 60), phase = random.uniform(0, 6.28), reach = random.uniform(1, 6);
    const double way = random.uniform(0, 6.28), swing = std::sin(2 * kPi * time_s / pace + phase) * reach;
    Vec2 at = home + Vec2{std::cos(way), std::sin(way)} * swing;
    if (!is_open_ground(site, at, 0.3)) at = home;
    Blob body{{at.x, at.y, 0.85}, 0.27, 0.72, clothes[random.integer(0, 5)], false, random.bits()};
    Blob head{{at.x + 0.05, at.y, 1.63},
              0.125,
              0.14,
              i % 2 ? Rgb{0.05F, 0.035F, 0.025F} : Rgb{0.6F, 0.55F, 0.1F},
              false,
              1};
    people.push_back(body);
    people.push_back(head);
  }
  return people;
}

}  // namespace render
