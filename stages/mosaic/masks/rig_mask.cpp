#include "stages/mosaic/masks/rig_mask.h"

#include <fmt/format.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <iterator>
#include <map>
#include <opencv2/imgproc.hpp>
#include <tuple>

namespace lookdown::mosaic {
namespace {

constexpr int kLongSide = 96;  // squares along the frame's longer side
constexpr std::size_t kLeastFrames = 5;
constexpr double kNearlyAll = 0.8;  // of the frames
constexpr int kContradicts = 12;    // code values: below it is noise and what is left of colour differences
constexpr int kContradictsFaintly = 5;
constexpr int kSteady = 6;            // code values of scatter that noise and light on the part leave
constexpr double kSteadyShare = 0.5;  // or this share of the usual scatter of what passes below
constexpr double kLeastShare = 0.0008, kMostShare = 0.35;  // of the frame
constexpr double kFallsTo = 0.5;      // share of the contradiction inside that is left right outside
constexpr double kAbruptShare = 0.6;  // of the rim
constexpr int kBlownOut = 245;        // code values: mirrored sun is as white in every frame

/// One frame in squares; what covers several cells of the survey is their mean colour and least
/// contradiction.
struct Squares {
  cv::Mat colour;         ///< CV_32FC3
  cv::Mat cells;          ///< CV_32SC1, how many
  cv::Mat contradiction;  ///< CV_16SC1, code values by which other frames usually differ; -1: no other frame
};

struct SquareGrid {
  cv::Size size;
  double per_px;
  explicit SquareGrid(const Camera& camera)
      : per_px(kLongSide / static_cast<double>(std::max(camera.width_px, camera.height_px))) {
    size = {std::max(1, static_cast<int>(camera.width_px * per_px)),
            std::max(1, static_cast<int>(camera.height_px * per_px))};
  }
  [[nodiscard]] cv::Point square(const cv::Point2d& frame_px) const {
    return {std::clamp(static_cast<int>((frame_px.x + 0.5) * per_px), 0, size.width - 1),
            std::clamp(static_cast<int>((frame_px.y + 0.5) * per_px), 0, size.height - 1)};
  }
};

int apart(const cv::Vec3b& a, const cv::Vec3b& b) {
  return std::max({std::abs(a[0] - b[0]), std::abs(a[1] - b[1]), std::abs(a[2] - b[2])});
}

/// The usual difference from the others at the cell, of an even number the smaller of the middle two, for
/// some may show the rig in the same place; -1 when none sees it.
int contradiction_at(const Survey& survey, const std::vector<int>& others, const cv::Vec3b& colour,
                     cv::Point cell) {
  std::vector<int> differences;
  for (const int other : others) {
    const SurveyFrame& frame = survey.frames[other];
    if (frame.testifies(cell))
      differences.push_back(apart(colour, frame.bgr.at<cv::Vec3b>(cell - frame.box.tl())));
  }
  if (differences.empty()) return -1;
  const auto middle = differences.begin() + static_cast<std::ptrdiff_t>((differences.size() - 1) / 2);
  std::nth_element(differences.begin(), middle, differences.end());
  return *middle;
}

std::vector<int> overlapping(const std::vector<FrameView>& views, const Survey& survey, int view) {
  std::vector<int> others;
  for (int other = 0; other < static_cast<int>(survey.frames.size()); ++other)
    if (other != view && !views[other].fills && !(survey.frames[other].box & survey.frames[view].box).empty())
      others.push_back(other);
  return others;
}

Squares squares_of(const std::vector<FrameView>& views, const Survey& survey, int index,
                   const SquareGrid& layout) {
  const FrameView& view = views[index];
  Squares squares{cv::Mat(layout.size, CV_32FC3, cv::Scalar::all(0)),
                  cv::Mat(layout.size, CV_32SC1, cv::Scalar(0)),
                  cv::Mat(layout.size, CV_16SC1, cv::Scalar(-1))};
  const SurveyFrame& frame = survey.frames[index];
  const std::vector<int> others = overlapping(views, survey, index);
  for (int row = frame.box.y; row < frame.box.br().y; ++row)
    for (int column = frame.box.x; column < frame.box.br().x; ++column) {
      const cv::Point cell(column, row);
      if (!frame.testifies(cell)) continue;
      const cv::Vec3b& colour = frame.bgr.at<cv::Vec3b>(cell - frame.box.tl());
      const cv::Point square = layout.square(
          view.position((column + 0.5) * survey.cell_px - 0.5, (row + 0.5) * survey.cell_px - 0.5));
      squares.colour.at<cv::Vec3f>(square) += cv::Vec3f(colour);
      ++squares.cells.at<int>(square);
      const int by = contradiction_at(survey, others, colour, cell);
      short& least = squares.contradiction.at<short>(square);
      if (by >= 0) least = static_cast<short>(least < 0 ? by : std::min<int>(least, by));
    }
  for (int row = 0; row < layout.size.height; ++row)
    for (int column = 0; column < layout.size.width; ++column)
      if (const int cells = squares.cells.at<int>(row, column); cells > 0)
        squares.colour.at<cv::Vec3f>(row, column) *= 1.0F / static_cast<float>(cells);
  return squares;
}

/// The value that `share` of the values do not exceed.
float at_share(std::vector<float>& values, double share) {
  const auto place = values.begin() + std::lround(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), place, values.end());
  return *place;
}

/// Over all frames of a camera, by square; -1 where too few tell.
struct OverTime {
  cv::Mat scatter;        ///< CV_32FC1, code values from the middle colour that nearly all frames keep within
  cv::Mat brightness;     ///< CV_32FC1, middle one
  cv::Mat contradiction;  ///< CV_32FC1, code values that nearly all frames exceed
};

OverTime over_time(const std::vector<Squares>& frames) {
  const cv::Size size = frames.front().colour.size();
  OverTime sums{cv::Mat(size, CV_32FC1, cv::Scalar(-1)), cv::Mat(size, CV_32FC1, cv::Scalar(-1)),
                cv::Mat(size, CV_32FC1, cv::Scalar(-1))};
  for (int row = 0; row < size.height; ++row)
    for (int column = 0; column < size.width; ++column) {
      std::array<std::vector<float>, 3> colours;
      std::vector<float> contradictions;
      for (const Squares& frame : frames) {
        if (frame.cells.at<int>(row, column) == 0) continue;
        for (int channel = 0; channel < 3; ++channel)
          colours[channel].push_back(frame.colour.at<cv::Vec3f>(row, column)[channel]);
        if (const short by = frame.contradiction.at<short>(row, column); by >= 0)
          contradictions.push_back(by);
      }
      if (contradictions.size() < kLeastFrames) continue;
      float& scatter = sums.scatter.at<float>(row, column);
      for (std::vector<float>& values : colours) {
        const float middle = at_share(values, 0.5);
        if (&values == &colours[1]) sums.brightness.at<float>(row, column) = middle;
        for (float& value : values) value = std::abs(value - middle);
        scatter = std::max(scatter, at_share(values, kNearlyAll));
      }
      sums.contradiction.at<float>(row, column) = at_share(contradictions, 1 - kNearlyAll);
    }
  return sums;
}

float usual_scatter(const cv::Mat& scatter) {
  std::vector<float> known;
  for (int row = 0; row < scatter.rows; ++row)
    for (int column = 0; column < scatter.cols; ++column)
      if (scatter.at<float>(row, column) >= 0) known.push_back(scatter.at<float>(row, column));
  return known.empty() ? 0 : at_share(known, 0.5);
}

/// True when the contradiction ends within two squares of most of the piece's rim.
bool ends_abruptly(const cv::Mat& piece, const cv::Mat& contradiction) {
  constexpr int kReach = 3;
  cv::Mat core;
  cv::erode(piece, core,
            cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));  // outside the picture counts as inside
  const cv::Rect whole({}, piece.size());
  int rim = 0, abrupt = 0;
  for (int row = 0; row < piece.rows; ++row)
    for (int column = 0; column < piece.cols; ++column) {
      if (!piece.at<uchar>(row, column) || core.at<uchar>(row, column)) continue;
      const cv::Rect round = cv::Rect(column - kReach, row - kReach, 2 * kReach + 1, 2 * kReach + 1) & whole;
      const cv::Mat outside = (piece(round) == 0) & (contradiction(round) >= 0),
                    inside = piece(round) & (contradiction(round) >= 0);
      if (cv::countNonZero(outside) == 0 || cv::countNonZero(inside) == 0) continue;
      ++rim;
      if (cv::mean(contradiction(round), outside)[0] < kFallsTo * cv::mean(contradiction(round), inside)[0])
        ++abrupt;
    }
  return rim > 0 && abrupt >= kAbruptShare * rim;
}

bool reaches_edge(const cv::Rect& box, cv::Size size) {
  return box.x <= 1 || box.y <= 1 || box.br().x >= size.width - 1 || box.br().y >= size.height - 1;
}

/// Gaps closed, as if the part went on beyond the frame's edge.
cv::Mat closed(const cv::Mat& marks) {
  constexpr int kGap = 5;
  cv::Mat wide;
  cv::copyMakeBorder(marks, wide, kGap, kGap, kGap, kGap, cv::BORDER_REPLICATE);
  cv::morphologyEx(wide, wide, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_RECT, {kGap, kGap}));
  return wide(cv::Rect({kGap, kGap}, marks.size())).clone();
}

/// The seed with what is connected to it among the allowed squares.
cv::Mat grown(const cv::Mat& seed, const cv::Mat& allowed) {
  cv::Mat labels;
  const int count = cv::connectedComponents(seed | allowed, labels, 8);
  std::vector<char> kept(count, 0);
  for (int row = 0; row < seed.rows; ++row)
    for (int column = 0; column < seed.cols; ++column)
      if (seed.at<uchar>(row, column)) kept[labels.at<int>(row, column)] = 1;
  cv::Mat all(seed.size(), CV_8UC1, cv::Scalar(0));
  for (int row = 0; row < seed.rows; ++row)
    for (int column = 0; column < seed.cols; ++column)
      if (const int label = labels.at<int>(row, column); label > 0 && kept[label])
        all.at<uchar>(row, column) = 255;
  return closed(all);
}

cv::Mat mask_of(const OverTime& sums) {
  const float steady =
      std::max<float>(kSteady, static_cast<float>(kSteadyShare) * usual_scatter(sums.scatter));
  cv::Mat marks = (sums.contradiction > kContradicts) & (sums.scatter >= 0) & (sums.scatter < steady) &
                  (sums.brightness < kBlownOut);
  marks = closed(marks);
  cv::Mat labels, facts, centres, mask(marks.size(), CV_8UC1, cv::Scalar(0));
  const int count = cv::connectedComponentsWithStats(marks, labels, facts, centres, 8);
  for (int label = 1; label < count; ++label) {
    const int area = facts.at<int>(label, cv::CC_STAT_AREA);
    const cv::Rect box(facts.at<int>(label, cv::CC_STAT_LEFT), facts.at<int>(label, cv::CC_STAT_TOP),
                       facts.at<int>(label, cv::CC_STAT_WIDTH), facts.at<int>(label, cv::CC_STAT_HEIGHT));
    const cv::Mat piece = labels == label;
    const auto whole = static_cast<double>(marks.total());
    if (area < kLeastShare * whole || area > kMostShare * whole || !reaches_edge(box, marks.size()) ||
        !ends_abruptly(piece, sums.contradiction))
      continue;
    mask |= piece;
  }
  // What resembles the ground here and there is contradicted less, but still more than ground is.
  mask |=
      grown(mask, (sums.contradiction > kContradictsFaintly) & (sums.scatter >= 0) & (sums.scatter < steady));
  // Its rim is blurred and falls between squares; what lies in the outermost squares goes on to the edge,
  // which few frames' overlaps tell.
  cv::dilate(mask, mask, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  return mask;
}

}  // namespace

std::vector<RidingPart> riding_parts(const FlightRecord& flight, const std::vector<FrameView>& views,
                                     const Survey& survey) {
  std::map<std::tuple<std::string, int, int>, std::vector<int>> cameras;
  for (int view = 0; view < static_cast<int>(views.size()); ++view)
    if (!survey.frames[view].bgr.empty())
      cameras[{flight.frames[views[view].frame_index].info.camera_id, views[view].camera.width_px,
               views[view].camera.height_px}]
          .push_back(view);
  std::vector<RidingPart> parts;
  for (const auto& [camera, of_camera] : cameras) {
    std::vector<int> sharp;
    std::copy_if(of_camera.begin(), of_camera.end(), std::back_inserter(sharp),
                 [&](int view) { return !views[view].fills; });
    if (sharp.size() < kLeastFrames) continue;
    const SquareGrid layout(views[sharp.front()].camera);
    std::vector<Squares> frames(sharp.size());
    tbb::parallel_for(std::size_t{0}, frames.size(),
                      [&](std::size_t i) { frames[i] = squares_of(views, survey, sharp[i], layout); });
    const cv::Mat mask = mask_of(over_time(frames));
    const int marked = cv::countNonZero(mask);
    if (marked > 0) parts.push_back({of_camera, mask, marked / static_cast<double>(mask.total())});
  }
  return parts;
}

void leave_out(const std::vector<RidingPart>& parts, std::vector<FrameView>& views, Survey& survey) {
  for (const RidingPart& part : parts)
    for (const int index : part.views) {
      FrameView& view = views[index];
      SurveyFrame& frame = survey.frames[index];
      view.riding = part.mask;
      for (int row = 0; row < frame.box.height; ++row)
        for (int column = 0; column < frame.box.width; ++column)
          if (frame.usable.at<uchar>(row, column) &&
              view.rides_along(view.position((frame.box.x + column + 0.5) * survey.cell_px - 0.5,
                                             (frame.box.y + row + 0.5) * survey.cell_px - 0.5)))
            frame.usable.at<uchar>(row, column) = 0;
    }
}

std::string in_words(const RidingPart& part) {
  const cv::Moments moments = cv::moments(part.mask, true);
  const double x = moments.m10 / moments.m00 / part.mask.cols, y = moments.m01 / moments.m00 / part.mask.rows;
  const char* down = y < 1.0 / 3 ? "top " : y > 2.0 / 3 ? "bottom " : "";
  const char* across = x < 1.0 / 3 ? "left" : x > 2.0 / 3 ? "right" : "middle";
  return fmt::format(
      "mosaic: something rides along with the camera, in the same place of all {} frames ({}{} of the frame "
      "as stored, {:.1f} % of it); the mosaic does without that part",
      part.views.size(), down, across, 100 * part.share);
}

}  // namespace lookdown::mosaic
