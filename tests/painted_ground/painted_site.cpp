#include "painted_site.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace painted {
namespace {

cv::Scalar shade(cv::RNG& random, double darkest, double brightest) {
  const double value = random.uniform(darkest, brightest);
  return {value * random.uniform(0.75, 1.1), value * random.uniform(0.85, 1.1),
          value * random.uniform(0.9, 1.15)};
}

/// Stones, tufts and litter: many small, few large (areas follow a power law, as fragments do).
void strew(cv::Mat& ground, cv::RNG& random) {
  const int count = int(ground.total() / 700);
  for (int i = 0; i < count; ++i) {
    const double radius = std::min(60.0, 1.5 / std::sqrt(random.uniform(0.001, 1.0)));
    const cv::Point2f middle(random.uniform(0.F, float(ground.cols)),
                             random.uniform(0.F, float(ground.rows)));
    std::vector<cv::Point> outline;
    const int corners = random.uniform(4, 9);
    for (int k = 0; k < corners; ++k) {
      const double angle = 2 * CV_PI * (k + random.uniform(-0.3, 0.3)) / corners,
                   reach = radius * random.uniform(0.5, 1.3);
      outline.emplace_back(cvRound(16 * (middle.x + reach * std::cos(angle))),
                           cvRound(16 * (middle.y + reach * std::sin(angle))));
    }
    cv::fillConvexPoly(ground, outline, shade(random, 30, 190), cv::LINE_AA, 4);
  }
}

void lay_paths(cv::Mat& ground, cv::RNG& random) {
  for (int i = 0; i < 5; ++i) {
    cv::Point from(random.uniform(0, ground.cols), random.uniform(0, ground.rows));
    const cv::Scalar colour = shade(random, 90, 170);
    for (int k = 0; k < 6; ++k) {
      const cv::Point to = from + cv::Point(random.uniform(-500, 500), random.uniform(-500, 500));
      cv::line(ground, from, to, colour, random.uniform(4, 14), cv::LINE_AA);
      from = to;
    }
  }
}

cv::Mat soil(cv::Size size, std::uint64_t seed) {
  const cv::Mat noise = fractal_noise(size, 300, 2, 0.75, seed);
  cv::Mat channels[3], ground;
  const double base[3] = {70, 95, 100};
  for (int c = 0; c < 3; ++c) {
    const cv::Mat tint = fractal_noise(size, 400, 60, 0.7, seed * 31 + std::uint64_t(c) + 1);
    channels[c] = base[c] * (1 + 0.35 * noise + 0.2 * tint);
  }
  cv::merge(channels, 3, ground);
  ground.convertTo(ground, CV_8U);
  return ground;
}

/// Slabs of one size in rows, each with a little grain of its own.
void lay_slabs(cv::Mat& ground, cv::RNG& random) {
  constexpr int side = 48;
  for (int y = 0; y < ground.rows; y += side)
    for (int x = 0; x < ground.cols; x += side) {
      const cv::Rect slab = cv::Rect(x, y, side, side) & cv::Rect(0, 0, ground.cols, ground.rows);
      cv::Mat(ground, slab) = cv::Scalar::all(128) * random.uniform(0.97, 1.03);
      cv::rectangle(ground, slab, cv::Scalar(60, 62, 66), 3);
      cv::circle(ground, slab.tl() + cv::Point(12, 12), 4, cv::Scalar(80, 80, 90), -1, cv::LINE_AA);
    }
  // Here and there a mark of wear, as any yard has.
  for (int i = 0; i < int(ground.total() / 9000); ++i)
    cv::ellipse(ground, {random.uniform(0, ground.cols), random.uniform(0, ground.rows)},
                {random.uniform(2, 9), random.uniform(2, 6)}, random.uniform(0, 180), 0, 360,
                shade(random, 60, 150), -1, cv::LINE_AA);
}

/// Sheet roofs: ribs of one pitch, an overlap of sheets now and then, few marks.
cv::Mat ribbed(cv::Size size, cv::RNG& random) {
  cv::Mat roof(size, CV_8UC3);
  for (int x = 0; x < size.width; ++x) {
    const double rib = std::pow(std::abs(std::sin(x * CV_PI / 17)), 6);
    roof.col(x) = cv::Scalar(120, 125, 130) * (1 - 0.45 * rib);
  }
  for (int y = 0; y < size.height; y += 130)
    cv::line(roof, {0, y}, {size.width, y}, cv::Scalar(90, 92, 95), 2);
  for (int i = 0; i < int(roof.total() / 12000); ++i)
    cv::circle(roof, {random.uniform(0, size.width), random.uniform(0, size.height)}, random.uniform(2, 7),
               shade(random, 50, 110), -1, cv::LINE_AA);
  return roof;
}

std::vector<cv::Mat> pyramid(cv::Mat full) {
  std::vector<cv::Mat> levels{full};
  for (int i = 0; i < 3; ++i) {
    cv::Mat half;
    cv::resize(levels.back(), half, {}, 0.5, 0.5, cv::INTER_AREA);
    levels.push_back(half);
  }
  return levels;
}

/// 0..1 over `width`, smooth at both ends.
double smooth_step(double t) {
  const double s = std::clamp(t, 0.0, 1.0);
  return s * s * (3 - 2 * s);
}

double valley_middle(const SiteChoice& c, double x) {
  return c.height * (0.5 + 0.12 * std::sin(x / c.width * 5));
}

/// A winding valley with a flat floor.
double valley(const SiteChoice& c, double x, double y) {
  const double off = std::abs(y - valley_middle(c, x));
  return -c.relief_height * (1 - smooth_step((off - 0.06 * c.height) / (0.22 * c.height)));
}

/// A dike with sides of 1 : 2 and a flat crown.
double dike(const SiteChoice& c, double x, double y) {
  const double off = std::abs((x - 0.62 * c.width) + 0.25 * (y - 0.5 * c.height)) / std::hypot(1.0, 0.25);
  return std::clamp(c.relief_height - (off - c.relief_height) / 2, 0.0, c.relief_height);
}

/// A heap as of gravel, its sides at about 30 degrees.
double heap(const SiteChoice& c, double x, double y) {
  const double off = std::hypot(x - 0.4 * c.width, y - 0.55 * c.height);
  return c.relief_height * (1 - smooth_step(off / (2.6 * c.relief_height)));
}

double relief_at(const SiteChoice& c, double x, double y) {
  double height = 0;
  if (c.relief == "valley" || c.relief == "mixed") height += valley(c, x, y);
  if (c.relief == "slope") height += 0.15 * (x - 0.5 * c.width);
  if (c.relief == "mixed") height += 0.04 * (x - 0.5 * c.width);
  if (c.relief == "dike" || c.relief == "mixed") height += dike(c, x, y) * (c.relief == "mixed" ? 0.5 : 1);
  if (c.relief == "heap" || c.relief == "mixed") height += heap(c, x, y) * (c.relief == "mixed" ? 0.7 : 1);
  return height;
}

/// Single trees and a row of them along the valley.
void plant(Site& site, cv::RNG& random) {
  const SiteChoice& c = site.choice;
  for (int i = 0; i < c.trees; ++i) {
    Tree tree;
    tree.x = random.uniform(0.15, 0.85) * c.width;
    tree.y = random.uniform(0.15, 0.85) * c.height;
    if (i % 2 == 0) tree.y = valley_middle(c, tree.x) + random.uniform(0.06, 0.1) * c.height;
    tree.radius = random.uniform(24.0, 60.0);
    tree.z = ground_height(site, tree.x, tree.y) + tree.radius * random.uniform(0.9, 1.7);
    bool is_free = true;
    for (const Shed& shed : site.sheds)
      is_free &= std::hypot(tree.x - shed.outline.center.x, tree.y - shed.outline.center.y) >
                 0.5 * shed.outline.size.width + 1.2 * tree.radius;
    if (is_free) site.trees.push_back(tree);
  }
  if (!site.trees.empty()) site.leaves = fractal_noise({1024, 1024}, 24, 2, 0.8, c.seed + 77);
}

/// Dry-stone walls that wind across the fields: short pieces, each level on the ground below it.
void build_walls(Site& site) {
  constexpr double kPiece = 40, kThick = 6;
  constexpr int kPieces = 26;
  const SiteChoice& c = site.choice;
  cv::RNG random(c.seed * 6151U + 29);
  for (int i = 0; i < c.walls; ++i) {
    cv::Point2d at(random.uniform(0.2, 0.8) * c.width, random.uniform(0.2, 0.8) * c.height);
    double way = random.uniform(0.0, 2 * CV_PI);
    for (int piece = 0; piece < kPieces; ++piece) {
      way += random.gaussian(0.08);
      const cv::Point2d middle = at + 0.5 * kPiece * cv::Point2d(std::cos(way), std::sin(way));
      at += kPiece * cv::Point2d(std::cos(way), std::sin(way));
      site.sheds.push_back({cv::RotatedRect(cv::Point2f(middle), cv::Size2f(float(kPiece + 2), float(kThick)),
                                            float(way * 180 / CV_PI)),
                            ground_height(site, middle.x, middle.y) + c.wall_height, 0});
    }
  }
}

cv::Mat relief_of(const SiteChoice& c) {
  if (c.relief.empty()) return {};
  cv::Mat relief(int(c.height / kReliefStep) + 2, int(c.width / kReliefStep) + 2, CV_32F);
  for (int row = 0; row < relief.rows; ++row)
    for (int column = 0; column < relief.cols; ++column)
      relief.at<float>(row, column) = float(relief_at(c, column * kReliefStep, c.height - row * kReliefStep));
  // Nature rounds its edges.
  cv::GaussianBlur(relief, relief, {}, 2);
  return relief;
}

}  // namespace

double ground_height(const Site& site, double x, double y) {
  if (site.relief.empty()) return 0;
  const double column = std::clamp(x / kReliefStep, 0.0, site.relief.cols - 1.001),
               row = std::clamp((site.choice.height - y) / kReliefStep, 0.0, site.relief.rows - 1.001);
  const int c = int(column), r = int(row);
  const double a = column - c, b = row - r;
  return (site.relief.at<float>(r, c) * (1 - a) + site.relief.at<float>(r, c + 1) * a) * (1 - b) +
         (site.relief.at<float>(r + 1, c) * (1 - a) + site.relief.at<float>(r + 1, c + 1) * a) * b;
}

bool on_shed(const Shed& shed, double x, double y, double* roof) {
  const double angle = shed.outline.angle * CV_PI / 180, dx = x - shed.outline.center.x,
               dy = y - shed.outline.center.y;
  const double along = std::cos(angle) * dx + std::sin(angle) * dy,
               across = -std::sin(angle) * dx + std::cos(angle) * dy;
  const double half = shed.outline.size.height / 2;
  if (roof != nullptr) *roof = shed.height + shed.ridge * std::max(0.0, 1 - std::abs(across) / half);
  return std::abs(along) < shed.outline.size.width / 2 && std::abs(across) < half;
}

double surface_height(const Site& site, double x, double y) {
  double height = ground_height(site, x, y), roof = 0;
  for (const Shed& shed : site.sheds)
    if (on_shed(shed, x, y, &roof)) height = std::max(height, roof);
  return height;
}

bool under_tree(const Site& site, double x, double y) {
  return std::any_of(site.trees.begin(), site.trees.end(),
                     [&](const Tree& tree) { return std::hypot(x - tree.x, y - tree.y) < tree.radius; });
}

cv::Mat fractal_noise(cv::Size size, double coarsest_px, double finest_px, double gain, std::uint64_t seed) {
  cv::Mat sum(size, CV_32F, cv::Scalar(0));
  cv::RNG random(seed * 2654435761U + 17);
  double weight = 1, total = 0;
  for (double cell = coarsest_px; cell >= finest_px; cell /= 2) {
    cv::Mat coarse(int(size.height / cell) + 4, int(size.width / cell) + 4, CV_32F), fine;
    random.fill(coarse, cv::RNG::UNIFORM, -1.0, 1.0);
    cv::resize(coarse, fine, {}, cell, cell, cv::INTER_CUBIC);
    sum += weight * fine(cv::Rect(cv::Point(int(cell), int(cell)), size));
    total += weight;
    weight *= gain;
  }
  return sum * (2 / total);
}

Site paint_site(const SiteChoice& choice) {
  Site site;
  site.choice = choice;
  const cv::Size size(cvRound(choice.width), cvRound(choice.height));
  cv::RNG random(choice.seed * 7919U + 3);
  cv::Mat ground = soil(size, choice.seed);
  if (choice.rows_of_tiles) {
    lay_slabs(ground, random);
  } else {
    strew(ground, random);
    lay_paths(ground, random);
  }
  site.pond = cv::Mat::zeros(size, CV_8UC1);
  if (choice.all_water) site.pond = 255;
  for (int i = 0; i < choice.ponds; ++i)
    cv::ellipse(site.pond, {random.uniform(0, size.width), random.uniform(0, size.height)},
                {random.uniform(150, 330), random.uniform(120, 240)}, random.uniform(0, 180), 0, 360,
                cv::Scalar(255), -1);
  for (int x = 0; choice.river && x < size.width; ++x)
    cv::line(site.pond, {x, cvRound(choice.height - valley_middle(choice, x) - 0.035 * choice.height)},
             {x, cvRound(choice.height - valley_middle(choice, x) + 0.035 * choice.height)}, cv::Scalar(255));
  for (int i = 0; i < choice.sheds; ++i)
    site.sheds.push_back({cv::RotatedRect({random.uniform(0.2F, 0.8F) * float(size.width),
                                           random.uniform(0.2F, 0.8F) * float(size.height)},
                                          {random.uniform(200.F, 420.F), random.uniform(150.F, 260.F)},
                                          random.uniform(0.F, 180.F)),
                          choice.shed_height, choice.ridge_height});
  site.relief = relief_of(choice);
  for (Shed& shed : site.sheds)
    shed.height += ground_height(site, shed.outline.center.x, shed.outline.center.y);
  plant(site, random);
  build_walls(site);
  site.ground = pyramid(ground);
  if (!site.sheds.empty()) {
    cv::Mat roofs = ribbed(size, random);
    if (choice.littered_roofs) strew(roofs, random);
    site.roofs = pyramid(roofs);
  }
  return site;
}

}  // namespace painted
