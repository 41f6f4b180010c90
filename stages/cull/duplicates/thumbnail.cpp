#include "stages/cull/duplicates/thumbnail.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/colour/cie_lab.h"
#include "pipeline/imaging/resampling/halving.h"

namespace lookdown::cull {
namespace {

constexpr int kLongSide = 40;
constexpr double kFarthestShare = 0.15;
constexpr double kLargestTurnDeg = 12;
// Pictures of the same ground agree better at half the size than at the whole one, but for what shifts and
// turns between those tried take away.
constexpr double kWorthALook = 0.6;

void append(std::vector<std::uint8_t>& bytes, const cv::Mat& picture) {
  for (int y = 0; y < picture.rows; ++y)
    bytes.insert(bytes.end(), picture.ptr<std::uint8_t>(y), picture.ptr<std::uint8_t>(y) + picture.cols);
}

cv::Mat picture_at(const std::uint8_t* first, int columns, int rows) {
  cv::Mat picture(rows, columns, CV_32F);
  for (int y = 0; y < rows; ++y)
    for (int x = 0; x < columns; ++x) picture.at<float>(y, x) = first[y * columns + x];
  return picture;
}

/// Correlation of `b` with `a` shifted by (dx, dy), over the part where both are seen and `seen` says that
/// `a` is known.
double correlation(const cv::Mat& a, const cv::Mat& seen, const cv::Mat& b, int dx, int dy) {
  const int x0 = std::max(0, dx), x1 = std::min(b.cols, a.cols + dx);
  const int y0 = std::max(0, dy), y1 = std::min(b.rows, a.rows + dy);
  double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
  for (int y = y0; y < y1; ++y) {
    const float* pa = a.ptr<float>(y - dy) - dx;
    const std::uint8_t* ps = seen.ptr<std::uint8_t>(y - dy) - dx;
    const float* pb = b.ptr<float>(y);
    for (int x = x0; x < x1; ++x) {
      if (!ps[x]) continue;
      n += 1, sa += pa[x], sb += pb[x], saa += pa[x] * pa[x], sbb += pb[x] * pb[x], sab += pa[x] * pb[x];
    }
  }
  if (n < 16) return -1;
  const double va = saa - sa * sa / n, vb = sbb - sb * sb / n;
  // Two even surfaces correlate by chance or not at all: one grey level of contrast is the least that counts.
  if (va < n || vb < n) return -1;
  return (sab - sa * sb / n) / std::sqrt(va * vb);
}

struct Turned {
  double turn_deg;
  cv::Mat picture, seen;
};

Turned turned(const cv::Mat& picture, double turn_deg) {
  const cv::Point2f middle((picture.cols - 1) / 2.0F, (picture.rows - 1) / 2.0F);
  const cv::Mat rotation = cv::getRotationMatrix2D(middle, turn_deg, 1);
  Turned out{turn_deg, {}, {}};
  cv::warpAffine(picture, out.picture, rotation, picture.size(), cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0);
  cv::warpAffine(cv::Mat(picture.size(), CV_8U, cv::Scalar(255)), out.seen, rotation, picture.size(),
                 cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0);
  out.seen = out.seen == 255;
  return out;
}

/// Best over all shifts and turns of pictures with that long side.
Likeness best_likeness(const cv::Mat& a, const cv::Mat& b, int long_side, double turn_step_deg) {
  Likeness best;
  best.correlation = -1;
  const int reach = cvRound(kFarthestShare * long_side);
  for (double turn_deg = -kLargestTurnDeg; turn_deg <= kLargestTurnDeg; turn_deg += turn_step_deg) {
    const Turned turn = turned(a, turn_deg);
    for (int dy = -reach; dy <= reach; ++dy)
      for (int dx = -reach; dx <= reach; ++dx) {
        const double c = correlation(turn.picture, turn.seen, b, dx, dy);
        if (c <= best.correlation) continue;
        best.correlation = c;
        best.turn_deg = turn_deg;
        best.shift_share = std::hypot(dx, dy) / long_side;
        best.overlap_share = (1.0 - std::abs(dx) / static_cast<double>(b.cols)) *
                             (1.0 - std::abs(dy) / static_cast<double>(b.rows));
      }
  }
  return best;
}

/// The picture without its best fit of 1, x, y, r^2 and r^4 about the middle: a lens's fall-off and the slope
/// of the light are the same in every frame, and over snow or sand they are all that a small picture shows.
cv::Mat without_falloff(const cv::Mat& picture) {
  const int count = static_cast<int>(picture.total());
  cv::Mat terms(count, 5, CV_64F), values(count, 1, CV_64F), weights;
  const double half = 0.5 * std::max(picture.cols, picture.rows);
  for (int i = 0; i < count; ++i) {
    const int row = i / picture.cols, column = i % picture.cols;
    const double x = (column - 0.5 * (picture.cols - 1)) / half, y = (row - 0.5 * (picture.rows - 1)) / half,
                 square = x * x + y * y;
    const double of_pixel[] = {1, x, y, square, square * square};
    std::copy(std::begin(of_pixel), std::end(of_pixel), terms.ptr<double>(i));
    values.at<double>(i) = picture.at<float>(row, column);
  }
  cv::solve(terms, values, weights, cv::DECOMP_SVD);
  cv::Mat rest = values - terms * weights;
  rest.convertTo(rest, CV_32F);
  return rest.reshape(1, picture.rows);
}

cv::Mat halved(const cv::Mat& picture) {
  cv::Mat half;
  cv::resize(picture, half, {(picture.cols + 1) / 2, (picture.rows + 1) / 2}, 0, 0, cv::INTER_AREA);
  return half;
}

}  // namespace

std::vector<std::uint8_t> make_thumbnail(const cv::Mat& whole) {
  const cv::Mat bgr = halved_until(whole, 4 * kLongSide);
  const double scale = static_cast<double>(kLongSide) / std::max(bgr.cols, bgr.rows);
  const cv::Size size(std::max(1, cvRound(bgr.cols * scale)), std::max(1, cvRound(bgr.rows * scale)));
  cv::Mat small;
  cv::resize(bgr, small, size, 0, 0, cv::INTER_AREA);
  std::vector<cv::Mat> planes;
  cv::split(cie_lab(small), planes);
  planes[0].convertTo(planes[0], CV_8U, 255.0 / 100);
  for (int plane : {1, 2}) planes[plane].convertTo(planes[plane], CV_8U, 1, 128);
  std::vector<std::uint8_t> bytes{static_cast<std::uint8_t>(size.width),
                                  static_cast<std::uint8_t>(size.height)};
  append(bytes, planes[0]);
  const cv::Size half((size.width + 1) / 2, (size.height + 1) / 2);
  for (int plane : {1, 2}) {
    cv::Mat coarse;
    cv::resize(planes[plane], coarse, half, 0, 0, cv::INTER_AREA);
    append(bytes, coarse);
  }
  return bytes;
}

std::optional<Thumbnail> read_thumbnail(const std::vector<std::uint8_t>& bytes) {
  if (bytes.size() < 2) return std::nullopt;
  const int columns = bytes[0], rows = bytes[1];
  const int half_columns = (columns + 1) / 2, half_rows = (rows + 1) / 2;
  if (columns < 1 || rows < 1) return std::nullopt;
  const std::size_t expected = 2 + static_cast<std::size_t>(columns) * rows + 2UL * half_columns * half_rows;
  if (bytes.size() != expected) return std::nullopt;
  const std::uint8_t* first = bytes.data() + 2;
  Thumbnail out;
  out.luminance = picture_at(first, columns, rows);
  out.detail = without_falloff(out.luminance);
  first += columns * rows;
  out.red_green = picture_at(first, half_columns, half_rows);
  out.blue_yellow = picture_at(first + half_columns * half_rows, half_columns, half_rows);
  return out;
}

Likeness compare(const Thumbnail& a, const Thumbnail& b) {
  Likeness none;
  none.correlation = -1;
  if (a.detail.size() != b.detail.size()) return none;
  const Likeness coarse = best_likeness(halved(a.detail), halved(b.detail), kLongSide / 2, 6);
  return coarse.correlation < kWorthALook ? coarse : best_likeness(a.detail, b.detail, kLongSide, 3);
}

}  // namespace lookdown::cull
