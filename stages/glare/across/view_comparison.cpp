#include "stages/glare/across/view_comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

constexpr std::array<float, 3> kLuminanceOfBgr{0.0722f, 0.7152f, 0.2126f};  // ITU-R BT.709, linear light

// Ratio of brightness between two views of the same ground, from pixels that neither view calls water: land
// does not shine. One number serves all channels, since only luminances are compared.
float gain_between(const cv::Mat& own, const SearchedFrame& frame, const cv::Mat& other,
                   const OverlaidView& view) {
  std::vector<float> on_land, anywhere;
  constexpr int kStep = 5;
  const auto& linear = linear_of_level();
  for (int y = 2; y < own.rows; y += kStep)
    for (int x = 2; x < own.cols; x += kStep) {
      const uchar a = own.at<uchar>(y, x), b = other.at<uchar>(y, x);
      if (!view.seen.at<uchar>(y, x) || std::min(a, b) < 12 || std::max(a, b) > 245) continue;
      const float ratio = std::log(linear[a] / linear[b]);
      anywhere.push_back(ratio);
      if (frame.water.at<uchar>(y, x) < 80 && view.water.at<uchar>(y, x) < 80) on_land.push_back(ratio);
    }
  std::vector<float>& sample = on_land.size() > 300 ? on_land : anywhere;
  if (sample.size() < 50) return 1;
  const auto middle = sample.begin() + static_cast<long>(sample.size() / 2);
  std::nth_element(sample.begin(), middle, sample.end());
  return std::exp(std::clamp(*middle, -1.5f, 1.5f));
}

cv::Mat log_odds_of(const cv::Mat& probability) {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> odds{};
    for (int level = 0; level < 256; ++level) {
      const float p = std::clamp(static_cast<float>(level) / 255, 0.18f, 0.82f);
      odds[static_cast<std::size_t>(level)] = std::log(p / (1 - p));
    }
    return odds;
  }();
  cv::Mat odds;
  cv::LUT(probability, cv::Mat(1, 256, CV_32FC1, const_cast<float*>(table.data())), odds);
  return odds;
}

cv::Mat probability_of(const cv::Mat& log_odds) {
  cv::Mat p, level;
  cv::exp(-log_odds, p);
  p = 255 / (1 + p);
  p.convertTo(level, CV_8UC1);
  return level;
}

// Detail of a few pixels, as a logarithm, without what is much slower.
cv::Mat fine_detail(const cv::Mat& luma) {
  cv::Mat light;
  luma.convertTo(light, CV_32FC1, 1.0, 8);
  cv::log(light, light);
  return blurred(light, 0.7) - blurred(light, 4);
}

// What matching detail says of water: ground that shows the same in both views stands still, and a surface
// that shows detail in both but not the same moves. Log-odds.
cv::Mat odds_of_match(const cv::Mat& own_detail, const cv::Mat& other_detail, const cv::Mat& seen) {
  constexpr double kAroundPx = 5, kNoise = 0.0001, kMatches = -0.8, kDiffers = 0.5;
  const cv::Mat power_own = blurred(own_detail.mul(own_detail), kAroundPx),
                power_other = blurred(other_detail.mul(other_detail), kAroundPx),
                common = blurred(own_detail.mul(other_detail), kAroundPx);
  cv::Mat scale;
  cv::sqrt(power_own.mul(power_other), scale);
  const cv::Mat correlation = common / (scale + kNoise), textured = scale / (scale + kNoise);
  // 0.25 is what chance gives over so few pixels; from 0.6 on the same thing is seen.
  cv::Mat sameness = cv::min(cv::max((correlation - 0.25f) / 0.35f, 0), 1);
  cv::Mat odds = textured.mul(kDiffers + (kMatches - kDiffers) * sameness);
  odds.setTo(0, ~seen);
  return odds;
}

// Low of a few views: one dark outlier among many does not count.
float low_of(std::array<float, 16>& sights, std::size_t count) {
  const std::size_t low = (count - 1) * 3 / 10;
  std::nth_element(sights.begin(), sights.begin() + static_cast<long>(low),
                   sights.begin() + static_cast<long>(count));
  return sights[low];
}

// With the bays and holes of a pond that glitter hides. A roof or a boat stands off the plane and lies
// elsewhere in each view: away from water such things are not looked at.
cv::Mat amid_water(const cv::Mat& water) {
  constexpr int kShrink = 8, kGapPx = 9;
  cv::Mat small, filled;
  cv::resize(water, small, {std::max(1, water.cols / kShrink), std::max(1, water.rows / kShrink)}, 0, 0,
             cv::INTER_AREA);
  small = small > 127;
  cv::morphologyEx(small, small, cv::MORPH_CLOSE,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, {kGapPx, kGapPx}));
  cv::resize(small, filled, water.size(), 0, 0, cv::INTER_NEAREST);
  return filled | water;
}

}  // namespace

SearchedFrame searched_frame(const cv::Mat& bgr, const cv::Mat& water_mask, const cv::Mat& glare_mask) {
  const double factor =
      0.5 * std::min(1.0, static_cast<double>(kWorkingLongSidePx) / std::max(bgr.cols, bgr.rows));
  const cv::Size size(std::max(1, static_cast<int>(std::lround(bgr.cols * factor))),
                      std::max(1, static_cast<int>(std::lround(bgr.rows * factor))));
  const auto reduced = [&](const cv::Mat& plane) {
    cv::Mat small;
    cv::resize(plane, small, size, 0, 0, cv::INTER_AREA);
    return small;
  };
  SearchedFrame frame{reduced(bgr), reduced(water_mask), reduced(glare_mask), {}};
  cv::Mat calm;
  cv::medianBlur(frame.bgr, calm, 5);
  frame.water_leaving = stored_level(water_leaving_luminance(calm, frame.water > 127));
  return frame;
}

ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others) {
  constexpr float kLeastMatch = -3, kMostMatch = 1.5;
  constexpr uchar kGlares = 25;  // a tenth of a pixel
  const cv::Size size = own.bgr.size();
  const cv::Mat own_luma = luma_of(own.bgr), own_detail = fine_detail(own_luma);
  cv::Mat votes = log_odds_of(own.water), voters(size, CV_32FC1, cv::Scalar(1)),
          match = cv::Mat::zeros(size, CV_32FC1);
  std::vector<cv::Mat> light, clear;
  for (const OverlaidView& view : others) {
    const cv::Mat luma = luma_of(view.bgr);
    match += odds_of_match(own_detail, fine_detail(luma), view.seen);
    cv::Mat vote = log_odds_of(view.water);
    vote.setTo(0, ~view.seen);
    votes += vote;
    cv::add(voters, 1, voters, view.seen);
    // A view that lies a pixel off must not make the edge of a bright thing look like glare: it counts with
    // its brightest neighbour.
    cv::Mat brightest;
    cv::dilate(luma, brightest, {});
    light.push_back(luminance_of(brightest) * gain_between(own_luma, own, luma, view));
    cv::Mat usable = view.seen & (view.glint < kGlares);
    if (!view.field.empty()) usable &= ~view.field;
    clear.push_back(usable);
  }
  ComparedFrame compared;
  match = cv::min(cv::max(match, kLeastMatch), kMostMatch);
  // As many views say the same, so they are surer, though they err alike.
  cv::Mat mean = votes / voters;
  compared.water = probability_of(cv::Mat(1.5 * mean + match));

  compared.water_leaving = luminance_of(own.water_leaving);
  compared.views = cv::Mat::zeros(size, CV_8UC1);
  std::array<float, 16> sights{};
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      std::size_t count = 0;
      for (std::size_t i = 0; i < light.size() && count < sights.size(); ++i)
        if (clear[i].at<uchar>(y, x)) sights[count++] = light[i].at<float>(y, x);
      compared.views.at<uchar>(y, x) = static_cast<uchar>(count);
      if (count > 0) compared.water_leaving.at<float>(y, x) = low_of(sights, count);
    }
  return compared;
}

Glint glint_beyond_views(const WorkingPicture& picture, const SearchedFrame& own,
                         const ComparedFrame& compared, const GlintPrior& prior) {
  constexpr uchar kWater = 127;
  const cv::Size size = picture.calm_bgr.size();
  const auto at = [&](const cv::Mat& plane, int interpolation) {
    cv::Mat out = plane;
    if (plane.size() != size) cv::resize(plane, out, size, 0, 0, interpolation);
    return out;
  };
  return find_glint(
      picture,
      {at(compared.water > kWater, cv::INTER_NEAREST), at(compared.water_leaving, cv::INTER_LINEAR),
       at((compared.views > 0) & amid_water(own.water > kWater), cv::INTER_NEAREST)},
      prior);
}

}  // namespace lookdown::glare
