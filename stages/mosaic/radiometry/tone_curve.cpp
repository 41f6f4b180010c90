#include "stages/mosaic/radiometry/tone_curve.h"

#include <algorithm>
#include <cmath>
#include <sstream>
#include <stdexcept>

namespace lookdown::mosaic {
namespace {

/// Steps of the table: far below half a code value of sixteen bits for curves that a person would draw.
constexpr int kTableSteps = 8192;

void read_points(const std::string& text, std::vector<double>& from, std::vector<double>& to) {
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    std::istringstream pair(word);
    double x = 0, y = 0;
    char comma = 0;
    if (!(pair >> x >> comma >> y) || comma != ',' || !pair.eof())
      throw std::runtime_error("'" + word + "' is no point; write them as \"0,0 0.25,0.18 1,1\"");
    if (!(x >= 0 && x <= 1 && y >= 0 && y <= 1))
      throw std::runtime_error("the point " + word + " lies outside 0 to 1");
    if (!from.empty() && (x <= from.back() || y < to.back()))
      throw std::runtime_error("the point " + word + " does not rise from the one before");
    from.push_back(x);
    to.push_back(y);
  }
  if (from.size() == 1) throw std::runtime_error("one point makes no curve; give two or more");
}

/// At the first of three points, from the widths and rises of the two intervals beyond it.
double end_slope(double width, double next_width, double rise, double next_rise) {
  const double slope = ((2 * width + next_width) * rise - width * next_rise) / (width + next_width);
  if (slope * rise <= 0) return 0;
  return std::min(slope, 3 * rise);
}

std::vector<double> monotone_slopes(const std::vector<double>& x, const std::vector<double>& y) {
  const std::size_t count = x.size();
  std::vector<double> width(count - 1), rise(count - 1), slope(count, 0);
  for (std::size_t i = 0; i + 1 < count; ++i) {
    width[i] = x[i + 1] - x[i];
    rise[i] = (y[i + 1] - y[i]) / width[i];
  }
  if (count == 2) return {rise[0], rise[0]};
  for (std::size_t i = 1; i + 1 < count; ++i) {
    if (rise[i - 1] <= 0 || rise[i] <= 0) continue;
    const double before = 2 * width[i] + width[i - 1], after = width[i] + 2 * width[i - 1];
    slope[i] = (before + after) / (before / rise[i - 1] + after / rise[i]);
  }
  slope.front() = end_slope(width[0], width[1], rise[0], rise[1]);
  slope.back() = end_slope(width[count - 2], width[count - 3], rise[count - 2], rise[count - 3]);
  return slope;
}

}  // namespace

ToneCurve::ToneCurve(const std::string& points) {
  read_points(points, from_, to_);
  if (from_.empty()) return;
  slope_ = monotone_slopes(from_, to_);
  for (int step = 0; step <= kTableSteps; ++step)
    table_.push_back(static_cast<float>(255 * at(static_cast<double>(step) / kTableSteps)));
}

double ToneCurve::at(double coded) const {
  if (from_.empty()) return coded;
  if (coded <= from_.front()) return to_.front();
  if (coded >= from_.back()) return to_.back();
  const auto after =
      static_cast<std::size_t>(std::upper_bound(from_.begin(), from_.end(), coded) - from_.begin());
  const std::size_t i = after - 1;
  const double width = from_[after] - from_[i], t = (coded - from_[i]) / width;
  // Hermite's cubic.
  return to_[i] * (1 + 2 * t) * (1 - t) * (1 - t) + width * slope_[i] * t * (1 - t) * (1 - t) +
         to_[after] * t * t * (3 - 2 * t) + width * slope_[after] * t * t * (t - 1);
}

void ToneCurve::apply(cv::Mat& colours) const {
  if (changes_nothing()) return;
  for (int row = 0; row < colours.rows; ++row) {
    float* value = colours.ptr<float>(row);
    for (float* const end = value + 3 * colours.cols; value != end; ++value) {
      const float place = std::clamp(*value, 0.0F, 255.0F) * (kTableSteps / 255.0F);
      const int step = std::min(static_cast<int>(place), kTableSteps - 1);
      *value = table_[step] + (place - static_cast<float>(step)) * (table_[step + 1] - table_[step]);
    }
  }
}

}  // namespace lookdown::mosaic
