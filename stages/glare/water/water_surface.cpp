#include "stages/glare/water/water_surface.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/glare/picture/plane_math.h"
#include "stages/glare/water/shore.h"

namespace lookdown::glare {
namespace {

// Weights of the evidence, chosen by hand from a logistic regression over outlined pictures of lakes; round
// on purpose. Log-odds for each factor of e in unevenness, for each factor of e in brightness or colour
// beyond.
constexpr double kDarkDetailWeight = -2.7, kNoDarkDetail = -4;  // below: as smooth as any water is
constexpr double kUnevenColourWeight = -0.6, kEvenColour = -4.8;
// Water absorbs red first: few waters leave as much of it as sand, concrete and dry soil do (ln of 0.35 of
// white).
constexpr double kBrightRedWeight = -7.5, kBrightRedFrom = -1.05, kOfRedness = 1.2;
// Leaves and lawns: green beyond red and blue, in the sun and in the shade, where water is blue with the sky.
// Leaves swallow blue at least as much as red; where red is missing more than blue it is water that is green.
constexpr double kGreenWeight = -11, kGreenFrom = 0.05, kMostGreen = 0.25;
// Leaves, straw and soil swallow blue; a surface mirrors some of the sky's. Lakes with algae and humus send
// back as little as a third of their green, sunlit leaves and lawns an eighth to a quarter.
constexpr double kYellowWeight = -18, kYellowFrom = 1.0, kMostYellow = 0.5;
constexpr double kPrior = -10;

cv::Mat log_mean(const cv::Mat& unevenness, double over_px) {
  cv::Mat out = blurred(unevenness, over_px) + 0.002;
  cv::log(out, out);
  return out;
}

cv::Mat beyond(const cv::Mat& plane, double from, double most) {
  return cv::min(cv::max(plane - from, 0), most);
}

// The regions of `mask` (CV_8UC1) that `keep(label, area, labels)` accepts.
template <class Keep>
cv::Mat kept_regions(const cv::Mat& mask, const Keep& keep) {
  cv::Mat labels;
  const auto count = static_cast<std::size_t>(cv::connectedComponents(mask, labels, 4, CV_32S));
  std::vector<int> areas(count, 0);
  for (int y = 0; y < mask.rows; ++y) {
    const int* in = labels.ptr<int>(y);
    for (int x = 0; x < mask.cols; ++x) ++areas[static_cast<std::size_t>(in[x])];
  }
  std::vector<uchar> kept(count, 0);
  for (std::size_t label = 1; label < count; ++label)
    kept[label] = keep(static_cast<int>(label), areas[label], labels) ? 255 : 0;
  cv::Mat out(mask.size(), CV_8UC1);
  for (int y = 0; y < mask.rows; ++y) {
    const int* in = labels.ptr<int>(y);
    uchar* to = out.ptr<uchar>(y);
    for (int x = 0; x < mask.cols; ++x) to[x] = kept[static_cast<std::size_t>(in[x])];
  }
  return out;
}

std::vector<double> sums_by_label(const cv::Mat& labels, const cv::Mat& values) {
  double most = 0;
  cv::minMaxLoc(labels, nullptr, &most);
  std::vector<double> sums(static_cast<std::size_t>(most) + 1, 0.0);
  for (int y = 0; y < labels.rows; ++y) {
    const int* label = labels.ptr<int>(y);
    const float* value = values.ptr<float>(y);
    for (int x = 0; x < labels.cols; ++x)
      if (label[x]) sums[static_cast<std::size_t>(label[x])] += value[x];
  }
  return sums;
}

// Broad places that look at least so much like water, and somewhere clearly so.
cv::Mat sure_water(const cv::Mat& log_odds, float least) {
  constexpr double kSureMean = 1.1, kLeastShare = 0.006;
  cv::Mat likely = log_odds > least;
  cv::morphologyEx(likely, likely, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {9, 9}));
  std::vector<double> sums;
  return kept_regions(likely, [&](int label, int area, const cv::Mat& labels) {
    if (sums.empty()) sums = sums_by_label(labels, log_odds);
    return area > kLeastShare * static_cast<double>(likely.total()) &&
           sums[static_cast<std::size_t>(label)] > kSureMean * area;
  });
}

// The colour of the sure water around each pixel.
class ColourAround {
 public:
  ColourAround(const CalmColour& colour, const cv::Mat& sure) {
    cv::Mat weight;
    sure.convertTo(weight, CV_32FC1, 1 / 255.0);
    share_ = around(weight);
    const std::array<const cv::Mat*, 3> planes{&colour.luminance, &colour.red_green, &colour.blue_green};
    for (std::size_t c = 0; c < 3; ++c) {
      const cv::Mat weighted = planes[c]->mul(weight);
      mean_[c] = around(weighted) / (share_ + 1e-6f);
      const cv::Mat square = around(weighted.mul(*planes[c])) / (share_ + 1e-6f);
      cv::sqrt(cv::max(square - mean_[c].mul(mean_[c]), 0), sigma_[c]);
      // Shade and drift widen the spread; boards among the water must not.
      sigma_[c] = cv::min(sigma_[c], kMostSigma[c]) + kLeastSigma[c];
    }
  }
  /// Squared, in standard deviations; huge where no sure water lies around.
  [[nodiscard]] cv::Mat distance(const CalmColour& colour) const {
    constexpr double kUnseen = 0.02;
    const std::array<const cv::Mat*, 3> planes{&colour.luminance, &colour.red_green, &colour.blue_green};
    cv::Mat sum = cv::Mat::zeros(share_.size(), CV_32FC1);
    for (std::size_t c = 0; c < 3; ++c) {
      const cv::Mat off = (*planes[c] - mean_[c]) / sigma_[c];
      sum += off.mul(off);
    }
    sum.setTo(1e6f, share_ < kUnseen);
    return sum;
  }

 private:
  static constexpr int kReachPx = 41;
  static constexpr std::array<double, 3> kLeastSigma{0.10, 0.05, 0.06}, kMostSigma{0.25, 0.08, 0.12};

  static cv::Mat around(const cv::Mat& plane) {
    cv::Mat mean;
    cv::boxFilter(plane, mean, -1, {kReachPx, kReachPx}, {-1, -1}, true, cv::BORDER_REFLECT);
    return mean;
  }

  cv::Mat share_;
  std::array<cv::Mat, 3> mean_, sigma_;
};

cv::Mat without_small_holes(const cv::Mat& mask) {
  constexpr double kLeastShare = 0.0004;
  return ~kept_regions(~mask, [&](int, int area, const cv::Mat&) {
    return area > kLeastShare * static_cast<double>(mask.total());
  });
}

// From the sure places to the outline of what has their colour; what is nowhere sure is left out.
cv::Mat grown_from_sure(const CalmColour& calm, const cv::Mat& sure, const cv::Mat& log_odds) {
  constexpr float kNear = 3 * 3, kSurelyAlone = 1.5f;
  constexpr double kSureShare = 0.3;
  const ColourAround near(calm, sure);
  cv::Mat water = (near.distance(calm) < kNear) | (sure & (log_odds > kSurelyAlone));
  cv::medianBlur(water, water, 5);
  cv::morphologyEx(water, water, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  cv::Mat sureness;
  sure.convertTo(sureness, CV_32FC1, 1 / 255.0);
  std::vector<double> sums;
  return kept_regions(water, [&](int label, int area, const cv::Mat& labels) {
    if (sums.empty()) sums = sums_by_label(labels, sureness);
    return sums[static_cast<std::size_t>(label)] > kSureShare * area;
  });
}

// Regions that end at a shore. Lawn, sand and shade that are even enough to pass for water go on beyond where
// they happen to stop passing; only what looks like water through and through may do so.
cv::Mat ashore(const cv::Mat& lab, const cv::Mat& water, const cv::Mat& log_odds) {
  constexpr double kMostOpen = 0.5;    // of the outline
  constexpr double kSurelyMean = 1.5;  // log odds
  std::vector<double> sums, open;
  return kept_regions(water, [&](int label, int area, const cv::Mat& labels) {
    if (sums.empty()) {
      sums = sums_by_label(labels, log_odds);
      open = open_outline_shares(lab, labels, static_cast<int>(sums.size()));
    }
    const auto i = static_cast<std::size_t>(label);
    return open[i] < kMostOpen || sums[i] > kSurelyMean * area;
  });
}

}  // namespace

WaterCues water_cues(const SurfaceLook& look) {
  const CalmColour& colour = look.colour;
  const cv::Mat dark_detail = log_mean(look.dark_detail, 4), uneven = log_mean(look.uneven, 5);
  const cv::Mat red_green = blurred(colour.red_green, 2), blue_green = blurred(colour.blue_green, 2);
  return {
      kPrior + kDarkDetailWeight * cv::max(dark_detail, kNoDarkDetail) +
          kUnevenColourWeight * cv::max(uneven, kEvenColour),
      kBrightRedWeight * beyond(blurred(colour.red, 1.5) + kOfRedness * cv::Mat(cv::max(red_green - 0.1, 0)),
                                kBrightRedFrom, 10) +
          kGreenWeight * beyond(cv::Mat(-cv::max(red_green, blue_green) - cv::max(blue_green - red_green, 0)),
                                kGreenFrom, kMostGreen) +
          kYellowWeight * beyond(-blue_green, kYellowFrom, kMostYellow)};
}

float evenness_of(const Look& look) {
  const double dark_detail = look[0], uneven = look[1];
  return static_cast<float>(kPrior + kDarkDetailWeight * std::max(dark_detail, kNoDarkDetail) +
                            kUnevenColourWeight * std::max(uneven, kEvenColour));
}

WaterCues WaterCues::with_colour_doubted(const cv::Mat& like_water) const {
  constexpr double kLeastColour = -1.5;
  return {evenness, colour + like_water.mul(cv::max(colour, kLeastColour) - colour)};
}

cv::Mat water_mask(const SurfaceLook& look, const cv::Mat& log_odds) {
  cv::Mat water = cv::Mat::zeros(log_odds.size(), CV_8UC1);
  // Regions are nested: of one that does not end at a shore, a part that looks more like water may.
  for (const float least : {0.0f, 1.0f, 2.0f}) {
    const cv::Mat sure = sure_water(log_odds, least) & ~water;
    if (cv::countNonZero(sure) == 0) break;
    const cv::Mat region = grown_from_sure(look.colour, sure, log_odds) & ~water,
                  kept = ashore(look.lab, region, log_odds);
    water |= kept;
    if (cv::countNonZero(region & ~kept) == 0) break;
  }
  return without_small_holes(water);
}

}  // namespace lookdown::glare
