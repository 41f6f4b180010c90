#include "stages/mosaic/overview/label_map.h"

#include <limits>

namespace lookdown::mosaic {

LabelMap least_disliked(const Survey& survey) {
  LabelMap choice(survey.rows, survey.columns, CV_16SC1, cv::Scalar(-1));
  cv::Mat least(survey.rows, survey.columns, CV_32FC1, cv::Scalar(std::numeric_limits<float>::max()));
  for (std::size_t index = 0; index < survey.frames.size(); ++index) {
    const SurveyFrame& frame = survey.frames[index];
    for (int row = 0; row < frame.box.height; ++row)
      for (int column = 0; column < frame.box.width; ++column) {
        if (!frame.usable.at<uchar>(row, column)) continue;
        float& best = least.at<float>(frame.box.y + row, frame.box.x + column);
        const float cost = frame.dislike.at<float>(row, column);
        if (cost >= best) continue;
        best = cost;
        choice.at<short>(frame.box.y + row, frame.box.x + column) = static_cast<short>(index);
      }
  }
  return choice;
}

}  // namespace lookdown::mosaic
