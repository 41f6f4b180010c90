#include <algorithm>
#include <cmath>
#include <vector>

#include "pipeline/imaging/colour/srgb.h"
#include "stages/mosaic/radiometry/colour_model.h"

namespace lookdown::mosaic {
namespace {

constexpr int kLightSteps = 1 << 14;  // fine enough for the steep start of the curve: 0.2 code values a step
constexpr int kRadiusSteps = 1 << 10;

const std::vector<float>& light_of_code() {
  static const std::vector<float> table = [] {
    std::vector<float> values(256);
    for (int code = 0; code < 256; ++code)
      values[code] = static_cast<float>(linear_from_srgb(code) * kLightSteps);
    return values;
  }();
  return table;
}

const std::vector<float>& code_of_light() {
  static const std::vector<float> table = [] {
    std::vector<float> values(kLightSteps + 1);
    for (int step = 0; step <= kLightSteps; ++step)
      values[step] = static_cast<float>(srgb_from_linear(static_cast<double>(step) / kLightSteps));
    return values;
  }();
  return table;
}

/// A curve from 0..1 that is read off between its nodes: `srgb_from_light` begins with a straight piece 200
/// nodes long, and is bent so little beyond it that the curve is off by less than 0.01 / 65535.
class Curve {
 public:
  template <class Function>
  explicit Curve(Function exact) : nodes_(kNodes + 1) {
    for (int node = 0; node <= kNodes; ++node)
      nodes_[node] = static_cast<float>(exact(static_cast<double>(node) / kNodes));
    nodes_.push_back(nodes_.back());
  }
  [[nodiscard]] float at(float x) const {
    const float place = std::clamp(x, 0.0F, 1.0F) * kNodes;
    const int node = static_cast<int>(place);
    return nodes_[node] + (nodes_[node + 1] - nodes_[node]) * (place - static_cast<float>(node));
  }

 private:
  static constexpr int kNodes = 1 << 16;
  std::vector<float> nodes_;
};

const Curve& fine_light() {
  static const Curve curve(light_from_srgb);
  return curve;
}

const Curve& fine_code() {
  static const Curve curve([](double light) { return srgb_from_linear(light); });
  return curve;
}

/// The tables of eight bits: exact where a code value begins, rounded on the way back.
struct EightBits {
  using Pixel = cv::Vec3b;
  const float *light_of = light_of_code().data(), *code_of = code_of_light().data();
  [[nodiscard]] float corrected(uchar code, float factor) const {
    const float light = light_of[code] * factor + 0.5F;
    return code_of[static_cast<int>(std::min(light, static_cast<float>(kLightSteps)))];
  }
};

struct SixteenBits {
  using Pixel = cv::Vec<ushort, 3>;
  const Curve &light = fine_light(), &code = fine_code();
  [[nodiscard]] float corrected(ushort level, float factor) const {
    return code.at(light.at(static_cast<float>(level) / 65535) * factor);
  }
};

void through(const Curve& curve, float before, cv::Mat& colours) {
  for (int row = 0; row < colours.rows; ++row) {
    auto* value = colours.ptr<float>(row);
    for (int i = 0; i < 3 * colours.cols; ++i) value[i] = curve.at(value[i] * before);
  }
}

/// 1 / V over the square of the radius, up to the corners of a frame whose principal point is well off its
/// middle.
std::vector<float> brightening_by_square_radius(const FrameColour& colour, double most_square) {
  std::vector<float> table(kRadiusSteps + 2);
  for (int step = 0; step < kRadiusSteps + 2; ++step) {
    const double square = most_square * step / kRadiusSteps;
    const auto& a = colour.vignetting;
    table[step] = static_cast<float>(std::exp(-square * (a[0] + square * (a[1] + square * a[2]))));
  }
  return table;
}

/// exp of a frame's field of ln light at positions in it.
class FieldFactor {
 public:
  explicit FieldFactor(const FrameColour& colour) : field_(colour.log_field) {
    if (field_.empty()) return;
    columns_a_px_ =
        static_cast<float>(field_.cols - 1) / static_cast<float>(std::max(1, colour.width_px - 1));
    rows_a_px_ = static_cast<float>(field_.rows - 1) / static_cast<float>(std::max(1, colour.height_px - 1));
  }
  [[nodiscard]] float at(const cv::Vec2f& position_px) const {
    if (field_.empty()) return 1;
    const float column =
                    std::clamp(position_px[0] * columns_a_px_, 0.0F, static_cast<float>(field_.cols - 1)),
                row = std::clamp(position_px[1] * rows_a_px_, 0.0F, static_cast<float>(field_.rows - 1));
    const int c = std::min(static_cast<int>(column), field_.cols - 2),
              r = std::min(static_cast<int>(row), field_.rows - 2);
    const float a = column - static_cast<float>(c), b = row - static_cast<float>(r);
    const auto* upper = field_.ptr<float>(r) + c;
    const auto* lower = field_.ptr<float>(r + 1) + c;
    return std::exp((upper[0] + a * (upper[1] - upper[0])) * (1 - b) +
                    (lower[0] + a * (lower[1] - lower[0])) * b);
  }

 private:
  cv::Mat field_;
  float columns_a_px_ = 0, rows_a_px_ = 0;
};

template <class Depth>
cv::Mat corrected_by(const Depth& depth, const cv::Mat& bgr, const cv::Mat& map, const FrameColour& colour) {
  cv::Mat out(bgr.size(), CV_32FC3);
  constexpr float kMostSquare = 2.25F;
  const std::vector<float> brightening = brightening_by_square_radius(colour, kMostSquare);
  const auto per_px = static_cast<float>(1 / colour.half_diagonal_px);
  const auto centre_x = static_cast<float>(colour.centre_x_px),
             centre_y = static_cast<float>(colour.centre_y_px);
  const auto slope_u = static_cast<float>(colour.log_slope[0]),
             slope_v = static_cast<float>(colour.log_slope[1]);
  const FieldFactor field(colour);
  std::array<float, 3> gain{};
  for (int channel = 0; channel < 3; ++channel)
    gain[channel] = static_cast<float>(std::exp(colour.log_gain[channel]));
  for (int row = 0; row < bgr.rows; ++row) {
    const auto* in = bgr.ptr<typename Depth::Pixel>(row);
    const auto* position = map.ptr<cv::Vec2f>(row);
    auto* result = out.ptr<cv::Vec3f>(row);
    for (int column = 0; column < bgr.cols; ++column) {
      const float u = (position[column][0] - centre_x) * per_px,
                  v = (position[column][1] - centre_y) * per_px;
      const float square =
          std::min((u * u + v * v) * (kRadiusSteps / kMostSquare), kRadiusSteps - 1.0F) + 0.5F;
      // exp(s) to second order: slopes are a few per cent, the rest is below a tenth of a code value.
      const float slope = slope_u * u + slope_v * v;
      const float factor = brightening[static_cast<int>(square)] * (1 + slope + 0.5F * slope * slope) *
                           field.at(position[column]);
      for (int channel = 0; channel < 3; ++channel)
        result[column][channel] = depth.corrected(in[column][channel], factor * gain[channel]);
    }
  }
  return out;
}

}  // namespace

double linear_from_srgb(double code) {
  return light_from_srgb(code / 255);
}

double srgb_from_linear(double light) {
  return 255 * srgb_from_light(light);
}

bool FrameColour::is_identity() const {
  const auto none = [](const auto& terms) {
    return std::all_of(terms.begin(), terms.end(), [](double term) { return term == 0; });
  };
  return log_field.empty() && none(log_gain) && none(log_slope) && none(vignetting);
}

cv::Mat corrected(const cv::Mat& bgr, const cv::Mat& map, const FrameColour& colour) {
  const bool sixteen = bgr.depth() == CV_16U;
  cv::Mat out;
  if (colour.is_identity())
    bgr.convertTo(out, CV_32F, sixteen ? 1 / 257.0 : 1);
  else
    out =
        sixteen ? corrected_by(SixteenBits{}, bgr, map, colour) : corrected_by(EightBits{}, bgr, map, colour);
  return out;
}

void to_linear_light(cv::Mat& colours) {
  through(fine_light(), 1 / 255.0F, colours);
}
void to_code_values(cv::Mat& colours) {
  through(fine_code(), 1, colours);
}

void correct_survey(Survey& survey, const std::vector<FrameView>& views, const ColourModel& model) {
  for (std::size_t i = 0; i < views.size(); ++i) {
    SurveyFrame& frame = survey.frames[i];
    if (frame.bgr.empty()) continue;
    cv::Mat map(frame.box.size(), CV_32FC2);
    for (int row = 0; row < map.rows; ++row)
      for (int column = 0; column < map.cols; ++column) {
        const cv::Point2d p = views[i].position((frame.box.x + column + 0.5) * survey.cell_px - 0.5,
                                                (frame.box.y + row + 0.5) * survey.cell_px - 0.5);
        map.at<cv::Vec2f>(row, column) = {static_cast<float>(p.x), static_cast<float>(p.y)};
      }
    corrected(frame.bgr, map, model[i]).convertTo(frame.bgr, CV_8U);
  }
}

}  // namespace lookdown::mosaic
