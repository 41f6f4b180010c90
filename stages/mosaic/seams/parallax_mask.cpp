#include "stages/mosaic/seams/parallax_mask.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::mosaic {
namespace {

constexpr float kLeastDifference =
    24;  // code values: below it is noise, blur and what is left of colour differences
constexpr double kTimesUsual =
    3;  // and this many times what frames usually differ by, for grounds of coarse texture
constexpr double kLargestInsideShare = 0.35;  // of a frame's area
constexpr int kGapCells = 2;                  // in a ring that are closed

/// The most that any frame differs from the one chosen, CV_32FC1; 0 where only one sees the cell.
cv::Mat greatest_difference(const Survey& survey, const std::vector<Structure>& structures,
                            const LabelMap& choice) {
  cv::Mat greatest(survey.rows, survey.columns, CV_32FC1, cv::Scalar(0));
  for (int view = 0; view < static_cast<int>(survey.frames.size()); ++view) {
    const SurveyFrame& frame = survey.frames[view];
    if (frame.bgr.empty()) continue;
    for (int row = frame.box.y; row < frame.box.br().y; ++row)
      for (int column = frame.box.x; column < frame.box.br().x; ++column) {
        const short chosen = choice.at<short>(row, column);
        if (chosen < 0 || chosen == view) continue;
        float& most = greatest.at<float>(row, column);
        most = std::max(most, difference_at(survey, structures, view, chosen, {column, row}));
      }
  }
  return greatest;
}

double median_of_positive(const cv::Mat& values) {
  std::vector<float> positive;
  for (int row = 0; row < values.rows; ++row)
    for (int column = 0; column < values.cols; ++column)
      if (values.at<float>(row, column) > 0) positive.push_back(values.at<float>(row, column));
  return median_in_place(positive);
}

int usual_frame_area(const Survey& survey) {
  std::vector<int> areas;
  for (const SurveyFrame& frame : survey.frames)
    if (!frame.bgr.empty()) areas.push_back(cv::countNonZero(frame.usable));
  return median_in_place(areas);
}

void fill_insides(cv::Mat& things, int largest_area) {
  cv::Mat labels, facts, centres;
  const int count = cv::connectedComponentsWithStats(things == 0, labels, facts, centres, 4);
  for (int label = 1; label < count; ++label) {
    const cv::Rect box(facts.at<int>(label, cv::CC_STAT_LEFT), facts.at<int>(label, cv::CC_STAT_TOP),
                       facts.at<int>(label, cv::CC_STAT_WIDTH), facts.at<int>(label, cv::CC_STAT_HEIGHT));
    const bool reaches_border =
        box.x == 0 || box.y == 0 || box.br().x == things.cols || box.br().y == things.rows;
    if (!reaches_border && facts.at<int>(label, cv::CC_STAT_AREA) <= largest_area)
      things(box).setTo(255, labels(box) == label);
  }
}

}  // namespace

cv::Mat things_off_plane(const Survey& survey, const std::vector<Structure>& structures,
                         const LabelMap& choice) {
  const cv::Mat differs = greatest_difference(survey, structures, choice);
  cv::Mat things = differs > std::max<double>(kLeastDifference, kTimesUsual * median_of_positive(differs));
  const cv::Mat around = cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * kGapCells + 1, 2 * kGapCells + 1});
  cv::morphologyEx(things, things, cv::MORPH_CLOSE, around);
  fill_insides(things, static_cast<int>(kLargestInsideShare * usual_frame_area(survey)));
  return things;
}

}  // namespace lookdown::mosaic
