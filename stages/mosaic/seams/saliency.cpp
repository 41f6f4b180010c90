#include "stages/mosaic/seams/saliency.h"

#include <cstdlib>
#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {
namespace {

Structure structure_of(const SurveyFrame& frame) {
  Structure structure;
  if (frame.bgr.empty()) return structure;
  cv::Mat grey, across, down, surroundings, apart;
  cv::cvtColor(frame.bgr, grey, cv::COLOR_BGR2GRAY);
  cv::Sobel(grey, across, CV_16S, 1, 0, 3, 0.25);
  cv::Sobel(grey, down, CV_16S, 0, 1, 3, 0.25);
  cv::merge(std::vector<cv::Mat>{across, down}, structure.steps);
  cv::boxFilter(frame.bgr, surroundings, CV_8U, {15, 15}, {-1, -1}, true, cv::BORDER_REPLICATE);
  cv::absdiff(frame.bgr, surroundings, apart);
  std::vector<cv::Mat> channels;
  cv::split(apart, channels);
  structure.salience = cv::max(channels[0], cv::max(channels[1], channels[2]));
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
  const auto& colour = one.bgr.at<cv::Vec3b>(in_a);
  const auto& other_colour = other.bgr.at<cv::Vec3b>(in_b);
  const auto& steps = structures[a].steps.at<cv::Vec2s>(in_a);
  const auto& other_steps = structures[b].steps.at<cv::Vec2s>(in_b);
  const int colours = std::abs(colour[0] - other_colour[0]) + std::abs(colour[1] - other_colour[1]) +
                      std::abs(colour[2] - other_colour[2]);
  const int changes = std::abs(steps[0] - other_steps[0]) + std::abs(steps[1] - other_steps[1]);
  return static_cast<float>(colours) / 3 + static_cast<float>(changes);
}

}  // namespace lookdown::mosaic
