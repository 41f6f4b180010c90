#include "stages/mosaic/radiometry/overlaps.h"

#include <algorithm>
#include <cmath>

#include "stages/mosaic/radiometry/colour_model.h"

namespace lookdown::mosaic {
namespace {

constexpr int kDarkest = 12,
              kBrightest = 243;    // code values: below is noise and black level, above may be clipped
constexpr int kMostContrast = 40;  // code values between a cell and its neighbours

bool is_fit(const SurveyFrame& frame, int column, int row) {
  const int x = column - frame.box.x, y = row - frame.box.y;
  if (x < 1 || y < 1 || x + 1 >= frame.box.width || y + 1 >= frame.box.height) return false;
  if (!frame.usable.at<uchar>(y, x)) return false;
  if (!frame.glare.empty() && frame.glare.at<uchar>(y, x) > 0) return false;
  const auto& colour = frame.bgr.at<cv::Vec3b>(y, x);
  for (int channel = 0; channel < 3; ++channel)
    if (colour[channel] < kDarkest || colour[channel] > kBrightest) return false;
  for (const cv::Point step : {cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)})
    if (std::abs(frame.bgr.at<cv::Vec3b>(y + step.y, x + step.x)[1] - colour[1]) > kMostContrast)
      return false;
  return true;
}

std::array<double, 2> lens_position(const FrameView& view, const Survey& survey, int column, int row) {
  const cv::Point2d p =
      view.position((column + 0.5) * survey.cell_px - 0.5, (row + 0.5) * survey.cell_px - 0.5);
  const double half_diagonal = 0.5 * std::hypot(view.camera.width_px, view.camera.height_px);
  return {(p.x - view.camera.cx_px) / half_diagonal, (p.y - view.camera.cy_px) / half_diagonal};
}

SharedSpot spot_at(const std::vector<FrameView>& views, const Survey& survey, int first, int second,
                   int column, int row) {
  SharedSpot spot;
  spot.first = first;
  spot.second = second;
  const auto& a = survey.frames[first];
  const auto& b = survey.frames[second];
  const auto& one = a.bgr.at<cv::Vec3b>(row - a.box.y, column - a.box.x);
  const auto& other = b.bgr.at<cv::Vec3b>(row - b.box.y, column - b.box.x);
  constexpr std::array<double, 3> kLuminance{0.0722, 0.7152, 0.2126};  // blue, green, red; ITU-R BT.709
  for (int channel = 0; channel < 3; ++channel) {
    const double light = linear_from_srgb(one[channel]), other_light = linear_from_srgb(other[channel]);
    spot.log_ratio[channel] = std::log(light / other_light);
    spot.luminance[0] += kLuminance[channel] * light;
    spot.luminance[1] += kLuminance[channel] * other_light;
  }
  spot.first_uv = lens_position(views[first], survey, column, row);
  spot.second_uv = lens_position(views[second], survey, column, row);
  return spot;
}

}  // namespace

std::vector<SharedSpot> shared_spots(const std::vector<FrameView>& views, const Survey& survey,
                                     int most_a_pair) {
  std::vector<SharedSpot> spots;
  const int count = static_cast<int>(survey.frames.size());
  for (int first = 0; first < count; ++first)
    for (int second = first + 1; second < count; ++second) {
      const SurveyFrame &a = survey.frames[first], &b = survey.frames[second];
      const cv::Rect overlap = a.box & b.box;
      if (overlap.area() < 16) continue;
      const int stride = std::max(1, static_cast<int>(std::sqrt(overlap.area() / (2.0 * most_a_pair))));
      const std::size_t before = spots.size();
      for (int row = overlap.y + stride / 2; row < overlap.br().y; row += stride)
        for (int column = overlap.x + stride / 2; column < overlap.br().x; column += stride)
          if (is_fit(a, column, row) && is_fit(b, column, row))
            spots.push_back(spot_at(views, survey, first, second, column, row));
      // A pair speaks in proportion to its overlap, not to how densely it was sampled.
      for (std::size_t i = before; i < spots.size(); ++i)
        spots[i].weight = static_cast<double>(stride) * stride;
    }
  double mean = 0;
  for (const SharedSpot& spot : spots) mean += spot.weight / static_cast<double>(spots.size());
  for (SharedSpot& spot : spots) spot.weight /= mean;
  return spots;
}

}  // namespace lookdown::mosaic
