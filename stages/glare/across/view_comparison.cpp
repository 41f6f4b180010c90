#include "stages/glare/across/view_comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <opencv2/imgproc.hpp>
#include <vector>

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

// Number of the bin of each pixel's colour in CIE L*a*b*: steps of 5 % of lightness, and of 4 units of a* and
// b* within what land and water have.
constexpr int kLightnessBins = 20, kHueBins = 24, kColourBins = kLightnessBins * kHueBins * kHueBins;
cv::Mat colour_bins(const cv::Mat& bgr) {
  constexpr int kMiddle = 128, kStep = 4;
  const auto hue_bin = [](int level) {
    return std::clamp((level - kMiddle) / kStep + kHueBins / 2, 0, kHueBins - 1);
  };
  cv::Mat lab, bins(bgr.size(), CV_32SC1);
  cv::cvtColor(bgr, lab, cv::COLOR_BGR2Lab);
  std::transform(lab.begin<cv::Vec3b>(), lab.end<cv::Vec3b>(), bins.begin<int>(), [&](const cv::Vec3b& p) {
    return (p[0] * kLightnessBins / 256 * kHueBins + hue_bin(p[1])) * kHueBins + hue_bin(p[2]);
  });
  return bins;
}

// Log-odds of water by how much of each colour moves and stands: back-projected histograms (Swain & Ballard,
// "Color indexing", Int. J. Computer Vision 7:11, 1991). Colours that nothing is known of have 0.
cv::Mat odds_by_colour(const cv::Mat& bgr, const ColourEvidence& evidence) {
  constexpr double kDoubtPx = 60, kLeast = -3, kMost = 1.5;
  const cv::Mat bins = colour_bins(bgr);
  std::vector<float> odds(kColourBins);
  std::transform(evidence.moves.begin(), evidence.moves.end(), evidence.stands.begin(), odds.begin(),
                 [&](double moving_px, double standing_px) {
                   return static_cast<float>(std::clamp(
                       std::log((moving_px + kDoubtPx) / (standing_px + kDoubtPx)), kLeast, kMost));
                 });
  cv::Mat back_projected(bins.size(), CV_32FC1);
  std::transform(bins.begin<int>(), bins.end<int>(), back_projected.begin<float>(),
                 [&](int bin) { return odds[static_cast<std::size_t>(bin)]; });
  return blurred(back_projected, 2);
}

// Log-odds, at most 0, by which water that only the look of the frame tells of is to be believed less: as
// much of what looks like water stands where other views tell.
double distrust(const cv::Mat& by_look, const cv::Mat& looked, const cv::Mat& moving) {
  constexpr double kDoubtShare = 0.02, kLeast = -5;
  constexpr float kStands = -1.5f, kTold = 0.5f;
  const cv::Mat told = (by_look > 0) & (looked > kTold), stands = told & (moving < kStands);
  const double doubt = kDoubtShare * static_cast<double>(told.total()), wrong = cv::countNonZero(stands),
               right = cv::countNonZero(told) - wrong;
  return std::clamp(std::log((right + doubt) / (wrong + doubt)), kLeast, 0.0);
}

}  // namespace

ColourEvidence::ColourEvidence() : stands(kColourBins, 0), moves(kColourBins, 0) {}

ColourEvidence::ColourEvidence(const SearchedFrame& frame, const Motion& motion) : ColourEvidence() {
  constexpr float kSure = 1.5f;
  cv::Mat calm;
  cv::medianBlur(frame.bgr, calm, 5);
  const cv::Mat bins = colour_bins(calm);
  for (int y = 0; y < bins.rows; ++y)
    for (int x = 0; x < bins.cols; ++x) {
      const auto bin = static_cast<std::size_t>(bins.at<int>(y, x));
      const float moving = motion.moving.at<float>(y, x);
      if (moving < -kSure) ++stands[bin];
      if (moving > kSure) ++moves[bin];
    }
}

void ColourEvidence::add(const ColourEvidence& other) {
  std::transform(stands.begin(), stands.end(), other.stands.begin(), stands.begin(), std::plus<>());
  std::transform(moves.begin(), moves.end(), other.moves.begin(), moves.begin(), std::plus<>());
}

SearchedFrame searched_frame(const cv::Mat& bgr, const cv::Mat& water_mask, const cv::Mat& glare_mask) {
  const cv::Size working = working_size(bgr.size()),
                 size(std::max(1, working.width / 2), std::max(1, working.height / 2));
  const auto reduced = [&](const cv::Mat& plane) {
    cv::Mat small;
    cv::resize(plane, small, size, 0, 0, cv::INTER_AREA);
    return small;
  };
  SearchedFrame frame{reduced(bgr), reduced(water_mask), reduced(glare_mask), {}};
  cv::Mat luma = luma_of(bgr);
  if (luma.size() != working) cv::resize(luma, luma, working, 0, 0, cv::INTER_AREA);
  frame.detail = detail_of(luma);
  frame.coarse = detail_of(halved(halved(luma)));
  cv::Mat calm;
  cv::medianBlur(frame.bgr, calm, 5);
  frame.water_leaving = stored_level(water_leaving_luminance(calm, frame.water > 127));
  return frame;
}

ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others) {
  constexpr uchar kGlares = 25;  // a tenth of a pixel
  constexpr double kVoteWeight = 0.8;
  const cv::Size size = own.bgr.size();
  const cv::Mat own_luma = luma_of(own.bgr);
  cv::Mat votes = log_odds_of(own.water), voters(size, CV_32FC1, cv::Scalar(1));
  std::vector<cv::Mat> light, clear;
  for (const OverlaidView& view : others) {
    const cv::Mat luma = luma_of(view.bgr);
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
  // Views say the same of what looks the same: they err alike, and many are hardly surer than one.
  compared.votes = kVoteWeight * votes / voters;

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

cv::Mat water_beyond_views(const WorkingPicture& picture, const ComparedFrame& compared, const Motion& motion,
                           const ColourEvidence& colours) {
  // What moves is water of whatever colour, and so is, most likely, what alone has no detail.
  constexpr double kSurelyMoves = 3, kLeastColour = -1.5;
  const cv::Size size = picture.calm_bgr.size();
  const cv::Mat moving = at_size(motion.moving, size),
                waterlike = cv::min(cv::max(cv::Mat(moving / kSurelyMoves), at_size(motion.faint, size)), 1),
                by_colour = odds_by_colour(picture.calm_bgr, colours);
  const WaterCues cues = water_cues(picture);
  const cv::Mat looked = at_size(motion.looked, size),
                colour = cues.colour + waterlike.mul(cv::max(cues.colour, kLeastColour) - cues.colour);
  return water_mask(picture, cues.evenness + colour + at_size(compared.votes, size) + moving +
                                 (1 - looked).mul(by_colour + distrust(cues.log_odds(), looked, moving)));
}

Glint glint_beyond_views(const WorkingPicture& picture, const cv::Mat& water, const SearchedFrame& own,
                         const ComparedFrame& compared, const GlintPrior& prior) {
  const cv::Size size = picture.calm_bgr.size();
  return find_glint(picture,
                    {water, at_size(compared.water_leaving, size),
                     at_size((compared.views > 0) & amid_water(own.water > 127), size, cv::INTER_NEAREST)},
                    prior);
}

}  // namespace lookdown::glare
