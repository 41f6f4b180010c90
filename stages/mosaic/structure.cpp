#include "stages/mosaic/structure.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {
namespace {

Structure structure_of(const SurveyFrame& frame) {
  Structure structure;
  if (frame.bgr.empty()) return structure;
  frame.bgr.convertTo(structure.colour, CV_32F);
  cv::Mat grey, across, down, surroundings;
  cv::cvtColor(structure.colour, grey, cv::COLOR_BGR2GRAY);
  cv::Sobel(grey, across, CV_32F, 1, 0, 3, 0.25);
  cv::Sobel(grey, down, CV_32F, 0, 1, 3, 0.25);
  cv::merge(std::vector<cv::Mat>{across, down}, structure.steps);
  cv::boxFilter(structure.colour, surroundings, CV_32F, {15, 15}, {-1, -1}, true, cv::BORDER_REPLICATE);
  std::vector<cv::Mat> apart;
  cv::split(cv::abs(structure.colour - surroundings), apart);
  structure.salience = cv::max(apart[0], cv::max(apart[1], apart[2]));
  return structure;
}

}  // namespace

std::vector<Structure> structures_of(const Survey& survey) {
  std::vector<Structure> structures;
  for (const SurveyFrame& frame : survey.frames) structures.push_back(structure_of(frame));
  return structures;
}

float difference_at(const Survey& survey, const std::vector<Structure>& structures, int a, int b,
                    cv::Point cell) {
  const SurveyFrame &one = survey.frames[a], &other = survey.frames[b];
  if (!one.holds(cell.x, cell.y) || !other.holds(cell.x, cell.y)) return -1;
  const cv::Point in_a = cell - one.box.tl(), in_b = cell - other.box.tl();
  if (!one.glare.empty() && one.glare.at<uchar>(in_a) > 0) return -1;
  if (!other.glare.empty() && other.glare.at<uchar>(in_b) > 0) return -1;
  const cv::Vec3f colour =
      structures[a].colour.at<cv::Vec3f>(in_a) - structures[b].colour.at<cv::Vec3f>(in_b);
  const cv::Vec2f steps = structures[a].steps.at<cv::Vec2f>(in_a) - structures[b].steps.at<cv::Vec2f>(in_b);
  return (std::abs(colour[0]) + std::abs(colour[1]) + std::abs(colour[2])) / 3 + std::abs(steps[0]) +
         std::abs(steps[1]);
}

}  // namespace lookdown::mosaic
