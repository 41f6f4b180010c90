#include "stages/place/features/features.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <numeric>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown::place {
namespace {

/// Low, so that wet mud and pale gravel give spots too; the grid below keeps rich texture from taking all the
/// room.
constexpr double kContrastThreshold = 0.012;
/// Where that leaves fewer spots than this (snow, dry sand), fainter ones are taken too: what grain adds is
/// small, and so stands last in the order of spots.
constexpr std::size_t kFewSpots = 600;
constexpr double kFaintContrastThreshold = 0.003;
/// OpenCV's SIFT searches a copy of twice the size whose pixel centres lie a quarter pixel off (resize keeps
/// centres, the position is then halved without the offset); taken back here and checked by a test with blobs
/// of known centre.
constexpr float kUpsamplingShiftPx = 0.25F;
constexpr int kGridColumns = 12;
constexpr std::uint32_t kPackedForm = 0x4C504632;

cv::Mat searched_copy(const cv::Mat& grey, const FeatureOptions& options) {
  const double share = options.work_megapixels * 1e6 / (double(grey.cols) * grey.rows);
  if (share >= 1) return grey;
  const double factor = std::sqrt(share);
  cv::Mat copy;
  cv::resize(grey, copy,
             cv::Size(std::max(1, int(std::lround(grey.cols * factor))),
                      std::max(1, int(std::lround(grey.rows * factor)))),
             0, 0, cv::INTER_AREA);
  return copy;
}

bool left_out_at(const cv::Mat& left_out, const cv::Point2f& p, const cv::Size& copy) {
  if (left_out.empty()) return false;
  const int x =
      std::clamp(int((p.x + 0.5F) * float(left_out.cols) / float(copy.width)), 0, left_out.cols - 1);
  const int y =
      std::clamp(int((p.y + 0.5F) * float(left_out.rows) / float(copy.height)), 0, left_out.rows - 1);
  return left_out.at<std::uint8_t>(y, x) != 0;
}

std::vector<cv::KeyPoint> spots_in(const cv::Mat& copy, const cv::Mat& left_out, double contrast_threshold) {
  std::vector<cv::KeyPoint> found;
  cv::SIFT::create(0, 3, contrast_threshold, 10, 1.6)->detect(copy, found);
  std::erase_if(found, [&](const cv::KeyPoint& k) { return left_out_at(left_out, k.pt, copy.size()); });
  return found;
}

/// Orders spots so that any leading part of the list is spread over the frame: the best of every cell, then
/// the second best of every cell, and so on. Within a round the larger, stronger spots lead because they
/// survive blur.
std::vector<cv::KeyPoint> spread_over_frame(std::vector<cv::KeyPoint> found, const cv::Size& size, int most) {
  const int rows = std::max(1, int(std::lround(double(kGridColumns) * size.height / size.width)));
  const auto strength = [](const cv::KeyPoint& k) { return k.response * std::sqrt(k.size); };
  std::sort(found.begin(), found.end(), [&](const cv::KeyPoint& a, const cv::KeyPoint& b) {
    const float sa = strength(a), sb = strength(b);
    if (sa != sb) return sa > sb;
    if (a.pt.y != b.pt.y) return a.pt.y < b.pt.y;
    if (a.pt.x != b.pt.x) return a.pt.x < b.pt.x;
    return a.angle < b.angle;
  });
  std::vector<int> in_cell(std::size_t(kGridColumns) * rows, 0);
  std::vector<int> round(found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    const int column = std::clamp(int(found[i].pt.x * kGridColumns / float(size.width)), 0, kGridColumns - 1);
    const int row = std::clamp(int(found[i].pt.y * float(rows) / float(size.height)), 0, rows - 1);
    round[i] = in_cell[std::size_t(row) * kGridColumns + column]++;
  }
  std::vector<int> order(found.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(),
                   [&](int a, int b) { return round[std::size_t(a)] < round[std::size_t(b)]; });
  std::vector<cv::KeyPoint> kept;
  for (int i : order) {
    if (int(kept.size()) == most) break;
    kept.push_back(found[std::size_t(i)]);
  }
  return kept;
}

/// Square root of the L1-normalised histogram, scaled so that the largest entry a row can hold (1) becomes
/// 127 and sums of squares fit a signed byte product. Scaling by 180 keeps typical entries (0.05..0.3) finely
/// graded; the clamp is never met in practice because SIFT caps its entries.
void square_root_rows(const cv::Mat& raw, std::vector<std::uint8_t>& rows) {
  rows.resize(std::size_t(raw.rows) * kDescriptorBytes);
  for (int r = 0; r < raw.rows; ++r) {
    const float* in = raw.ptr<float>(r);
    float sum = 0;
    for (int c = 0; c < kDescriptorBytes; ++c) sum += in[c];
    const float scale = sum > 0 ? 1.F / sum : 0.F;
    for (int c = 0; c < kDescriptorBytes; ++c)
      rows[std::size_t(r) * kDescriptorBytes + c] =
          std::uint8_t(std::min(127.F, std::round(180.F * std::sqrt(in[c] * scale))));
  }
}

template <class T>
void append(std::string& to, const T* values, std::size_t count) {
  to.append(reinterpret_cast<const char*>(values), count * sizeof(T));
}

}  // namespace

std::string cache_words(const FeatureOptions& o) {
  return "sift " + std::to_string(o.work_megapixels) + " " + std::to_string(o.most);
}

int reduction_for(int width_px, int height_px, const FeatureOptions& options) {
  for (int reduction : {8, 4, 2})
    if (double(width_px) * height_px / (double(reduction) * reduction) >= options.work_megapixels * 1e6)
      return reduction;
  return 1;
}

std::int64_t peak_bytes_of_search(int width_px, int height_px, const FeatureOptions& options) {
  // OpenCV's SIFT doubles the copy's sides and keeps six blurred pictures and five differences of each octave
  // as 32-bit floats, each octave a quarter of the one before.
  constexpr double bytes_a_pixel = 4 * 4 * (6 + 5) * 4.0 / 3;
  return std::int64_t(std::min(options.work_megapixels * 1e6, double(width_px) * height_px) * bytes_a_pixel);
}

FrameFeatures find_features(const cv::Mat& grey, int width_px, int height_px, const cv::Mat& left_out,
                            const FeatureOptions& options) {
  FrameFeatures result;
  if (grey.cols < 32 || grey.rows < 32) return result;
  const cv::Mat copy = searched_copy(grey, options);
  std::vector<cv::KeyPoint> found = spots_in(copy, left_out, kContrastThreshold);
  if (found.size() < kFewSpots) found = spots_in(copy, left_out, kFaintContrastThreshold);
  std::vector<cv::KeyPoint> kept = spread_over_frame(std::move(found), copy.size(), options.most);
  cv::Mat raw;
  if (!kept.empty()) cv::SIFT::create()->compute(copy, kept, raw);
  square_root_rows(raw, result.descriptors);

  const float x_scale = float(width_px) / float(copy.cols), y_scale = float(height_px) / float(copy.rows);
  result.work_scale = 1.F / std::max(x_scale, y_scale);
  for (const cv::KeyPoint& k : kept) {
    Feature spot;
    spot.x_px = (k.pt.x - kUpsamplingShiftPx + 0.5F) * x_scale - 0.5F;
    spot.y_px = (k.pt.y - kUpsamplingShiftPx + 0.5F) * y_scale - 0.5F;
    spot.size_px = k.size * x_scale;
    spot.angle_rad = k.angle * float(CV_PI / 180);
    result.spots.push_back(spot);
  }
  return result;
}

std::string pack(const FrameFeatures& features) {
  std::string bytes;
  const std::uint32_t head[2] = {kPackedForm, std::uint32_t(features.size())};
  append(bytes, head, 2);
  append(bytes, &features.work_scale, 1);
  append(bytes, features.spots.data(), features.spots.size());
  append(bytes, features.descriptors.data(), features.descriptors.size());
  return bytes;
}

bool unpack(std::string_view bytes, FrameFeatures& features) {
  features = {};
  std::uint32_t head[2];
  constexpr std::size_t head_bytes = sizeof head + sizeof(float);
  if (bytes.size() < head_bytes) return false;
  std::memcpy(head, bytes.data(), sizeof head);
  const std::size_t count = head[1];
  if (head[0] != kPackedForm || count > 1'000'000 ||
      bytes.size() != head_bytes + count * (sizeof(Feature) + kDescriptorBytes))
    return false;
  std::memcpy(&features.work_scale, bytes.data() + sizeof head, sizeof(float));
  features.spots.resize(count);
  features.descriptors.resize(count * kDescriptorBytes);
  if (count > 0) {
    std::memcpy(features.spots.data(), bytes.data() + head_bytes, count * sizeof(Feature));
    std::memcpy(features.descriptors.data(), bytes.data() + head_bytes + count * sizeof(Feature),
                features.descriptors.size());
  }
  return true;
}

}  // namespace lookdown::place
