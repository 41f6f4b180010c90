#include "stages/mosaic/masks/transient_objects.h"

#include <algorithm>
#include <cstdlib>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/mosaic/masks/standing_things.h"
#include "stages/mosaic/masks/tether_mask.h"

namespace lookdown::mosaic {
namespace {

constexpr int kLeastWitnesses = 3;
constexpr int kLeastApart = 12;       // code values: below it is noise and what is left of colour differences
constexpr int kLeastApartDetail = 8;  // the same, when broad tones are taken off both
constexpr int kSurroundings = 15;     // cells: things smaller than it are detail
constexpr int kTimesOthers = 3;       // as far from the median as frames usually are at the cell
constexpr double kLargestShare = 0.02;  // of a frame
constexpr float kStandsAlone = 3;       // dislike, in doublings of resolution
constexpr float kLineInView = 12;  // dislike of a line that runs through the frame, whose narrow band is else
                                   // left between seams; below that of hidden ground

struct Witness {
  int view;
  const cv::Vec3b* colour;
};

/// Middle value; of an even number the mean of the middle two.
int median(std::vector<int>& values) {
  std::sort(values.begin(), values.end());
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2;
}

/// How far each witness is from the median colour of all, in code values.
std::vector<int> distances_from_median(const std::vector<Witness>& witnesses) {
  std::vector<int> distances(witnesses.size(), 0), values(witnesses.size());
  for (int channel = 0; channel < 3; ++channel) {
    for (std::size_t i = 0; i < witnesses.size(); ++i) values[i] = (*witnesses[i].colour)[channel];
    const int middle = median(values);
    for (std::size_t i = 0; i < witnesses.size(); ++i)
      distances[i] = std::max(distances[i], std::abs((*witnesses[i].colour)[channel] - middle));
  }
  return distances;
}

/// The frame without its broad tones, which a sky mirrored in water or a cloud changes from frame to frame.
cv::Mat detail_of(const cv::Mat& bgr) {
  if (bgr.empty()) return {};
  cv::Mat surroundings, detail;
  cv::medianBlur(bgr, surroundings, kSurroundings);  // unlike the mean it throws no halo round a line
  cv::addWeighted(bgr, 0.5, surroundings, -0.5, 128, detail);
  return detail;
}

/// Of one frame, 255 where it applies.
struct Testimony {
  cv::Mat asked;  ///< enough frames see the cell for one to be outvoted
  cv::Mat alone;  ///< the frame is
};

/// Marks the views whose picture at the cell stands alone.
void mark_loners(const Survey& survey, const std::vector<cv::Mat>& pictures, int least_apart, cv::Point cell,
                 const std::vector<int>& views_of_row, std::vector<Testimony>& testimonies) {
  std::vector<Witness> witnesses;
  for (const int view : views_of_row) {
    const SurveyFrame& frame = survey.frames[view];
    if (frame.testifies(cell))
      witnesses.push_back({view, &pictures[view].at<cv::Vec3b>(cell - frame.box.tl())});
  }
  if (static_cast<int>(witnesses.size()) < kLeastWitnesses) return;
  const std::vector<int> distances = distances_from_median(witnesses);
  std::vector<int> sorted = distances;
  const int limit = std::max(least_apart, kTimesOthers * median(sorted));
  for (std::size_t i = 0; i < witnesses.size(); ++i) {
    const cv::Point in_frame = cell - survey.frames[witnesses[i].view].box.tl();
    testimonies[witnesses[i].view].asked.at<uchar>(in_frame) = 255;
    if (distances[i] > limit) testimonies[witnesses[i].view].alone.at<uchar>(in_frame) = 255;
  }
}

/// What is large does not pass: it leans, or the light has changed.
void drop_large_pieces(cv::Mat& marks, double largest_cells) {
  cv::Mat labels, facts, centres;
  const int count = cv::connectedComponentsWithStats(marks, labels, facts, centres, 8);
  for (int label = 1; label < count; ++label)
    if (facts.at<int>(label, cv::CC_STAT_AREA) > largest_cells) marks.setTo(0, labels == label);
}

void dislike_loners(Survey& survey, const std::vector<FrameView>& views, std::size_t view,
                    Testimony& testimony) {
  SurveyFrame& frame = survey.frames[view];
  if (testimony.alone.empty() || cv::countNonZero(testimony.alone) == 0) return;
  const cv::Mat bands = lines_in_view(frame.bgr, frame.usable, testimony.asked, testimony.alone);
  drop_large_pieces(testimony.alone, kLargestShare * cv::countNonZero(frame.usable));
  spare_standing_things(survey, views, view, testimony.alone);
  // With the cell next to it, for a person's outline fills the cells at its rim only in part.
  cv::dilate(testimony.alone, testimony.alone, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  cv::Mat(frame.dislike + kStandsAlone).copyTo(frame.dislike, testimony.alone);
  if (!bands.empty()) cv::Mat(frame.dislike + kLineInView).copyTo(frame.dislike, bands);
}

}  // namespace

void dislike_passing_things(const std::vector<FrameView>& views, Survey& survey) {
  std::vector<Testimony> testimonies;
  std::vector<cv::Mat> colours, details;
  for (const SurveyFrame& frame : survey.frames) {
    testimonies.push_back({cv::Mat(frame.box.size(), CV_8UC1, cv::Scalar(0)),
                           cv::Mat(frame.box.size(), CV_8UC1, cv::Scalar(0))});
    colours.push_back(frame.bgr);
    details.push_back(detail_of(frame.bgr));
  }
  for (int row = 0; row < survey.rows; ++row) {
    std::vector<int> views;
    for (int view = 0; view < static_cast<int>(survey.frames.size()); ++view) {
      const cv::Rect& box = survey.frames[view].box;
      if (row >= box.y && row < box.br().y) views.push_back(view);
    }
    if (static_cast<int>(views.size()) < kLeastWitnesses) continue;
    for (int column = 0; column < survey.columns; ++column) {
      mark_loners(survey, colours, kLeastApart, {column, row}, views, testimonies);
      // Details are halved to fit their range.
      mark_loners(survey, details, kLeastApartDetail / 2, {column, row}, views, testimonies);
    }
  }
  for (std::size_t view = 0; view < survey.frames.size(); ++view)
    dislike_loners(survey, views, view, testimonies[view]);
}

}  // namespace lookdown::mosaic
