#include "stages/glare/across/view_comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "stages/glare/picture/plane_math.h"
#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {
namespace {

constexpr std::array<float, 3> kLuminanceOfBgr{0.0722f, 0.7152f, 0.2126f};  // ITU-R BT.709, linear light

// Logarithm of the ratio of brightness between two views of the same ground, from pixels that neither view
// calls water: land does not shine. One number serves all channels, since only luminances are compared.
float log_gain_between(const cv::Mat& own, const SearchedFrame& frame, const cv::Mat& other,
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
  if (sample.size() < 50) return 0;
  const auto middle = sample.begin() + static_cast<long>(sample.size() / 2);
  std::nth_element(sample.begin(), middle, sample.end());
  return std::clamp(*middle, -1.5f, 1.5f);
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
  for (std::size_t i = 0; i <= low; ++i)
    for (std::size_t k = i + 1; k < count; ++k)
      if (sights[k] < sights[i]) std::swap(sights[i], sights[k]);
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

// What one view shows of what lies below, where it counts.
struct ClearSight {
  cv::Mat luma, usable, water;           // CV_8UC1
  std::array<float, 256> light_of_luma;  // in own's exposure
};

BelowWater below_water(const SearchedFrame& own, const std::vector<ClearSight>& views) {
  cv::Mat luminance = luminance_of(own.water_leaving), told = cv::Mat::zeros(luminance.size(), CV_8UC1),
          wet = told.clone();
  std::array<float, 16> sights{};
  const std::size_t most = std::min(views.size(), sights.size());
  for (int y = 0; y < told.rows; ++y)
    for (int x = 0; x < told.cols; ++x) {
      std::size_t count = 0, water = 0;
      for (std::size_t i = 0; i < most; ++i)
        if (views[i].usable.at<uchar>(y, x)) {
          sights[count++] = views[i].light_of_luma[views[i].luma.at<uchar>(y, x)];
          water += views[i].water.at<uchar>(y, x) > 127;
        }
      if (count == 0) continue;
      told.at<uchar>(y, x) = 255;
      wet.at<uchar>(y, x) = water == count ? 255 : 0;
      luminance.at<float>(y, x) = low_of(sights, count);
    }
  return {stored_level(luminance), told & amid_water(own.water > 127), wet};
}

// How much (0..1) what is believed of a patch counts as an example of what water and ground look like. All of
// them log-odds of water: `votes` of the views' searches, `moving` (at least 0) and `standing` (at most 0) by
// motion, `evenness` by its own look.
float sureness_of_votes(float votes_for) {
  return std::min(1.0f, 2 / (1 + std::exp(-votes_for)));
}
float sureness_of_water(float votes, float moving) {
  constexpr float kSurelyMoves = 3;
  return std::max(sureness_of_votes(votes), std::min(1.0f, moving / kSurelyMoves));
}
// A bottom that is seen through the water stands, and would teach that its pond is ground. What is as even as
// water is ground as far as no view's search takes it for water, or as it stands and few do.
float sureness_of_ground(float votes, float standing, float evenness) {
  constexpr float kDenied = -0.5f, kSurelyDenied = -1, kSurelyStands = -5;
  const float denied = std::clamp((votes - kDenied) / (kSurelyDenied - kDenied), 0.0f, 1.0f),
              stands = std::min(1.0f, standing / kSurelyStands) * sureness_of_votes(-votes),
              even = 1 / (1 + std::exp(-evenness));
  return 1 - even * (1 - std::max(denied, stands));
}

}  // namespace

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
  std::vector<ClearSight> sights;
  ComparedFrame compared;
  for (const OverlaidView& view : others) {
    const cv::Mat& luma = view.luma;
    cv::Mat vote = log_odds_of(view.water);
    vote.setTo(0, ~view.seen);
    votes += vote;
    cv::add(voters, 1, voters, view.seen);
    // A view that lies a pixel off must not make the edge of a bright thing look like glare: it counts with
    // its brightest neighbour.
    ClearSight sight;
    cv::dilate(luma, sight.luma, {});
    const double log_gain = log_gain_between(own_luma, own, luma, view);
    compared.log_gains.push_back(log_gain);
    std::transform(linear_of_level().begin(), linear_of_level().end(), sight.light_of_luma.begin(),
                   [&](float light) { return light * static_cast<float>(std::exp(log_gain)); });
    sight.usable = view.seen & (view.glint < kGlares);
    sight.water = view.water;
    sights.push_back(sight);
  }
  // Views say the same of what looks the same: they err alike, and many are hardly surer than one.
  compared.votes = kVoteWeight * votes / voters;

  compared.below = below_water(own, sights);
  return compared;
}

cv::Mat water_beyond_views(const WorkingPicture& picture, const SurfaceLook& look, const UsualLook& usual,
                           const ComparedFrame& compared, const Motion& motion) {
  constexpr double kSurelyMoves = 3;
  const cv::Size size = picture.calm_bgr.size();
  const cv::Mat moving = at_size(motion.moving, size), looked = at_size(motion.looked, size);
  // What moves is water of whatever colour, and so is, most likely, what alone has no detail.
  const cv::Mat waterlike = cv::min(cv::max(cv::Mat(moving / kSurelyMoves), at_size(motion.faint, size)), 1);
  const WaterCues cues = water_cues(look);
  const cv::Mat usually = usual.evidence();
  return water_mask(look, cues.with_colour_doubted(waterlike).log_odds() + usually +
                              at_size(compared.votes, size) + moving +
                              (1 - looked) * distrust(cues.log_odds() + usually, looked, moving));
}

std::vector<double> log_exposures(const std::vector<std::vector<int>>& views,
                                  const std::vector<std::vector<double>>& log_gains) {
  constexpr int kSweeps = 100;          // of Gauss and Seidel
  constexpr double kUsualSpread = 0.1;  // equations that hold a frame to the mean, beside one for each view
  std::vector<double> exposures(views.size(), 0);
  for (int sweep = 0; sweep < kSweeps; ++sweep)
    for (std::size_t i = 0; i < views.size(); ++i) {
      double sum = 0;
      for (std::size_t k = 0; k < log_gains[i].size(); ++k)
        sum += exposures[static_cast<std::size_t>(views[i][k])] + log_gains[i][k];
      exposures[i] = sum / (static_cast<double>(log_gains[i].size()) + kUsualSpread);
    }
  return exposures;
}

KnownPatches known_patches(SeenPatches seen, const UsualLook& usual, const cv::Mat& water,
                           const ComparedFrame& compared, const Motion& motion) {
  constexpr float kUnseen = 0.05f;  // weight; 0.2 costs 0.006 of IoU on the development flights
  KnownPatches known{std::move(seen.patches), {std::move(seen.looks), {}, {}}, {}, {}};
  const Patches& patches = known.patches;
  const cv::Size size = water.size();
  const auto inside = patches.means_inside(
      {shares_of_mask(water), at_size(motion.looked, size), at_size(cv::max(motion.moving, 0), size),
       at_size(cv::min(motion.moving, 0), size), at_size(compared.votes, size), usual.water});
  for (std::size_t i = 0; i < patches.count(); ++i) {
    const bool wet = inside[0][i] > 0.5f;
    const float sure =
        wet ? sureness_of_water(inside[4][i], inside[2][i])
            : sureness_of_ground(inside[4][i], inside[3][i], evenness_of(known.samples.looks[i]));
    known.samples.water.push_back(wet);
    known.samples.weights.push_back(sure * std::max(kUnseen, inside[1][i]) * patches.area_px[i] /
                                    kPatchAreaPx);
  }
  known.moving = inside[2];
  known.usual = inside[5];
  return known;
}

cv::Mat water_by_look(const KnownPatches& known, const std::optional<LearnedLook>& look,
                      double log_exposure) {
  constexpr float kOfMotion = 0.5f;  // 1 does as well on the development flights
  constexpr float kOfUsual = 0.3f;   // 0.6 and 1 lose ponds whose colour nobody taught
  constexpr float kBelieved = 4;     // log-odds, where nothing else is known
  const LookSamples& samples = known.samples;
  std::vector<float> log_odds;
  if (look) {
    std::vector<Look> looks = samples.looks;
    for (Look& of_patch : looks) of_patch = at_mean_exposure(of_patch, log_exposure);
    log_odds = look->log_odds(looks);
    // What moves is water. What stands may be its bottom: that it is ground, the look must tell.
    for (std::size_t i = 0; i < log_odds.size(); ++i)
      log_odds[i] += kOfMotion * known.moving[i] + kOfUsual * known.usual[i];
  } else {
    for (const char water : samples.water) log_odds.push_back(water ? kBelieved : -kBelieved);
  }
  return cut_along_borders(known.patches, log_odds);
}

Glint glint_beyond_views(const WorkingPicture& picture, const KnownPatches& known, const cv::Mat& water,
                         const BelowWater& below, const GlintPrior& prior) {
  const cv::Size size = picture.calm_bgr.size();
  return find_glint(picture,
                    {water, at_size(luminance_of(below.level), size), usual_look(picture), known.patches,
                     [&] { return known.samples.looks; }, at_size(below.told, size, cv::INTER_NEAREST),
                     at_size(below.wet, size, cv::INTER_NEAREST)},
                    prior);
}

}  // namespace lookdown::glare
