#include "varied_pictures.h"

#include <array>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "flight_truth.h"
#include "painted_water.h"

namespace scoring {
namespace {

constexpr double kGamma = 2.2;  // of the tone curve, about

class Lot {
 public:
  explicit Lot(std::uint32_t seed) : engine_(seed) {}
  // The standard's distributions differ between libraries; this does not.
  double between(double low, double high) { return low + (high - low) * (engine_() / 4294967296.0); }

 private:
  std::mt19937 engine_;
};

cv::Rect part_of(const cv::Size& size, Lot& lot) {
  const double share = lot.between(0.45, 1);
  const int width = static_cast<int>(size.width * share), height = static_cast<int>(size.height * share);
  const int left = static_cast<int>(lot.between(0, size.width - width)),
            top = static_cast<int>(lot.between(0, size.height - height));
  return {left, top, width, height};
}

// Light, colour of the light and steepness of the tone curve.
cv::Mat in_other_light(const cv::Mat& bgr, Lot& lot) {
  const double light = lot.between(-0.8, 0.6), red = lot.between(-0.25, 0.25), blue = lot.between(-0.3, 0.3),
               steepness = std::exp(lot.between(-0.15, 0.3));
  const std::array<double, 3> gains{light + blue, light, light + red};
  cv::Mat levels(1, 256, CV_8UC3), out;
  for (int level = 0; level < 256; ++level)
    for (std::size_t c = 0; c < 3; ++c) {
      const double linear = std::pow(level / 255.0, kGamma) * std::exp(gains[c]);
      levels.at<cv::Vec3b>(0, level)[static_cast<int>(c)] =
          cv::saturate_cast<uchar>(255 * std::pow(std::min(1.0, std::pow(linear, steepness)), 1 / kGamma));
    }
  cv::LUT(bgr, levels, out);
  return out;
}

// Noise with grain of one size.
cv::Mat octave(cv::RNG& noise, cv::Size size, double px) {
  cv::Mat coarse(static_cast<int>(size.height / px) + 3, static_cast<int>(size.width / px) + 3, CV_32FC1),
      fine;
  noise.fill(coarse, cv::RNG::NORMAL, 0, 1);
  cv::resize(coarse, fine, size, 0, 0, cv::INTER_CUBIC);
  return fine;
}

cv::Mat share_of(const cv::Mat& mask) {
  cv::Mat share;
  mask.convertTo(share, CV_32FC1, 1 / 255.0);
  return share;
}

// `factor`: CV_32FC3.
void multiply(cv::Mat& bgr, const cv::Mat& factor) {
  cv::Mat level;
  bgr.convertTo(level, CV_32FC3);
  cv::Mat(level.mul(factor)).convertTo(bgr, CV_8UC3);
}

// Makes what `mask` shows this much (ln of light) lighter, redder and bluer.
void tint(cv::Mat& bgr, const cv::Mat& mask, double light, double red, double blue) {
  const cv::Mat share = share_of(mask);
  std::vector<cv::Mat> factors;
  for (const double gain : {light + blue, light, light + red})
    factors.emplace_back(1 + share * (std::exp(gain / kGamma) - 1));
  cv::Mat factor;
  cv::merge(factors, factor);
  multiply(bgr, factor);
}

// Waters and grounds are of more colours than one renderer gives them, the one apart from the other: humus
// and algae swallow blue. What is mirrored (channel 1 of the truth) keeps the colour of its source.
void recolour(VariedPicture& picture, Lot& lot) {
  cv::Mat water, mirrored;
  cv::extractChannel(picture.truth, water, 0);
  cv::extractChannel(picture.truth, mirrored, 1);
  cv::dilate(mirrored, mirrored, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  const double light = lot.between(-0.8, 0.4), red = lot.between(-0.4, 0.4), blue = lot.between(-0.9, 0.3);
  tint(picture.bgr, water & ~mirrored, light, red, blue);
  const double ground_light = lot.between(-0.4, 0.4), ground_red = lot.between(-0.4, 0.3),
               ground_blue = lot.between(-0.7, 0.3);
  tint(picture.bgr, ~water, ground_light, ground_red, ground_blue);
}

// Grass, stones and leaves on the ground: lighter and darker spots from some pixels to some dozens.
void roughen_ground(VariedPicture& picture, Lot& lot, std::uint32_t seed) {
  constexpr int kOctaves = 3;
  const double finest_px = lot.between(1, 4), strength = lot.between(0.05, 0.4),
               steepness = lot.between(0.7, 1.3);
  const cv::Size size = picture.bgr.size();
  cv::RNG noise(seed);
  cv::Mat water, light = cv::Mat::zeros(size, CV_32FC1);
  cv::extractChannel(picture.truth, water, 0);
  for (int k = 0; k < kOctaves; ++k)
    light += strength * std::pow(steepness, k) * octave(noise, size, finest_px * std::pow(3.0, k));
  cv::exp(light.mul(share_of(~water)), light);
  cv::merge(std::vector<cv::Mat>{light, light, light}, light);
  multiply(picture.bgr, light);
}

// Where crowns of trees leave spots of sun in their shade, many, few or none: of a part of the picture, where
// no light is mirrored (channel 1 of the truth), since no sun would be mirrored in the shade.
void add_shade_of_trees(VariedPicture& picture, Lot& lot, std::uint32_t seed) {
  constexpr int kOctaves = 5;  // of noise, the finest of some pixels
  const cv::Size size = picture.bgr.size();
  const double finest_px = lot.between(3, 9), spots = lot.between(-0.5, 4), light = lot.between(0.08, 0.45);
  cv::RNG noise(seed);
  cv::Mat leaves = cv::Mat::zeros(size, CV_32FC1);
  for (int k = 0; k < kOctaves; ++k)
    leaves += octave(noise, size, finest_px * std::pow(2.0, k)) * std::pow(1.3, k);
  const cv::Mat crowns = octave(noise, size, lot.between(120, 300));
  cv::Mat mirrored, shade = (crowns > lot.between(-0.2, 0.6)) & (leaves > -spots);
  cv::extractChannel(picture.truth, mirrored, 1);
  cv::dilate(mirrored, mirrored, cv::getStructuringElement(cv::MORPH_ELLIPSE, {31, 31}));
  shade.setTo(0, mirrored);
  cv::Mat share = share_of(shade), factor;
  cv::GaussianBlur(share, share, {0, 0}, lot.between(0.8, 2.5));
  // Skylight alone reaches the shade: bluer than the sun. Levels are about the root of light.
  cv::merge(std::vector<cv::Mat>{1 - share * (1 - std::sqrt(1.2 * light)), 1 - share * (1 - std::sqrt(light)),
                                 1 - share * (1 - std::sqrt(0.9 * light))},
            factor);
  multiply(picture.bgr, factor);
}

// Racks of white bars, as those that boats are lifted by: as bright as glitter, and no water.
void add_bars(VariedPicture& picture, Lot& lot) {
  const auto corner = [&](double along, double across, const cv::Point2d& at, double turn) {
    return cv::Point(cvRound(at.x + along * std::cos(turn) - across * std::sin(turn)),
                     cvRound(at.y + along * std::sin(turn) + across * std::cos(turn)));
  };
  const int racks = static_cast<int>(lot.between(1, 5));
  for (int i = 0; i < racks; ++i) {
    const cv::Point2d at(lot.between(0, picture.bgr.cols), lot.between(0, picture.bgr.rows));
    const double turn = lot.between(0, CV_PI), pitch_px = lot.between(7, 40), bar_px = lot.between(30, 200),
                 light = lot.between(170, 255);
    const int bars = static_cast<int>(lot.between(2, 12)), width_px = static_cast<int>(lot.between(1, 6));
    const auto draw = [&](const cv::Point& from, const cv::Point& to) {
      cv::line(picture.bgr, from, to, cv::Scalar::all(light), width_px, cv::LINE_AA);
      cv::line(picture.truth, from, to, cv::Scalar::all(0), width_px);
    };
    const double length_px = pitch_px * (bars - 1);
    for (int k = 0; k < bars; ++k)
      draw(corner(k * pitch_px, 0, at, turn), corner(k * pitch_px, bar_px, at, turn));
    for (const double side : {0.0, bar_px})
      draw(corner(0, side, at, turn), corner(length_px, side, at, turn));
  }
}

void add_noise(cv::Mat& bgr, Lot& lot, std::uint32_t seed) {
  constexpr double kMostLevels = 3;
  cv::Mat noise(bgr.size(), CV_32FC3), level;
  cv::RNG(seed).fill(noise, cv::RNG::NORMAL, 0, lot.between(0, kMostLevels));
  bgr.convertTo(level, CV_32FC3);
  cv::Mat(level + noise).convertTo(bgr, CV_8UC3);
}

}  // namespace

VariedPicture varied(const cv::Mat& bgr, const cv::Mat& truth, std::uint32_t seed) {
  constexpr double kMostSoftPx = 1.2, kLeastSoftPx = 0.3, kOftenRecoloured = 0.7, kOftenRough = 0.5,
                   kOftenBarred = 0.5, kOftenShaded = 0.5;
  Lot lot(seed);
  const cv::Rect part = part_of(bgr.size(), lot);
  const int width = lot.between(0, 1) < 0.5 ? 1024 : 800;
  const cv::Size size(width, width * part.height / part.width);
  VariedPicture picture;
  cv::resize(bgr(part), picture.bgr, size, 0, 0, part.width < width ? cv::INTER_LINEAR : cv::INTER_AREA);
  cv::resize(truth(part), picture.truth, size, 0, 0, cv::INTER_AREA);
  if (lot.between(0, 1) < kOftenRecoloured) recolour(picture, lot);
  if (lot.between(0, 1) < kOftenRough) roughen_ground(picture, lot, seed + 1);
  if (lot.between(0, 1) < kOftenBarred) add_bars(picture, lot);
  if (lot.between(0, 1) < kOftenShaded) add_shade_of_trees(picture, lot, seed);
  if (const double soft_px = lot.between(0, kMostSoftPx); soft_px > kLeastSoftPx)
    cv::GaussianBlur(picture.bgr, picture.bgr, {0, 0}, soft_px);
  picture.bgr = in_other_light(picture.bgr, lot);
  add_noise(picture.bgr, lot, seed);
  std::vector<uchar> bytes;
  cv::imencode(".jpg", picture.bgr, bytes, {cv::IMWRITE_JPEG_QUALITY, static_cast<int>(lot.between(60, 95))});
  picture.bgr = cv::imdecode(bytes, cv::IMREAD_COLOR);
  return picture;
}

namespace {

// As broad as a frame: small ones stand side by side.
cv::Mat repeated(cv::Mat bgr) {
  const cv::Size least(1500, 1000);
  while (bgr.cols < least.width) cv::hconcat(bgr, bgr, bgr);
  while (bgr.rows < least.height) cv::vconcat(bgr, bgr, bgr);
  return bgr(cv::Rect({0, 0}, least)).clone();
}

}  // namespace

void for_each_training_picture(const TrainingSources& sources,
                               const std::function<void(const TrainingPicture&, std::uint32_t)>& use) {
  std::uint32_t seed = 0;
  const auto give = [&](const cv::Mat& bgr, const std::vector<cv::Mat>& masks) {
    TrainingPicture picture{bgr, {}};
    cv::merge(masks, picture.truth);
    use(picture, ++seed);
  };
  const auto mask = [](const std::filesystem::path& path) {
    return cv::imread(path.string(), cv::IMREAD_GRAYSCALE);
  };
  for (const std::string& flight : sources.flights)
    for (const TruthFrame& frame : read_truth(flight).frames)
      if (frame.nadir && frame.sharp)
        give(cv::imread(frame.picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION),
             {mask(frame.water), mask(frame.glare), mask(frame.visible_glare)});
  for (std::uint32_t painting = sources.first_painting; painting <= sources.last_painting; ++painting) {
    painted::Choice choice;
    choice.seed = painting;
    const painted::Scene scene = painted::paint(choice);
    give(scene.bgr, {scene.water, scene.glare, scene.visible_glare});
  }
  for (const std::filesystem::path& path : sources.dry_pictures) {
    const cv::Mat bgr = repeated(cv::imread(path.string(), cv::IMREAD_COLOR));
    const cv::Mat none = cv::Mat::zeros(bgr.size(), CV_8UC1);
    give(bgr, {none, none, none});
  }
}

}  // namespace scoring
