// What results that are kept were made from, in short.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <type_traits>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// Values one after another, each with its length where that is not fixed.
class DigestedBytes {
 public:
  template <class Value>
  void add(const Value& value) {
    static_assert(std::is_arithmetic_v<Value>);  // what has gaps between its members has no bytes of its own
    bytes_.append(reinterpret_cast<const char*>(&value), sizeof value);
  }
  void add(const std::string& text);
  void add(const cv::Rect& area);
  void add(const cv::Mat& picture);
  /// The part of `picture` (over `box`) that lies in `cells`.
  void add(const cv::Mat& picture, const cv::Rect& box, const cv::Rect& cells);
  [[nodiscard]] std::string digest() const;

 private:
  std::string bytes_;
};

/// The frame's bytes, where it lies and what rides along in it; not how it is bent, nor the heights under it.
void add_view(const FrameView&, const FrameRecord&, DigestedBytes&);

/// All that decides what the view shows at any place of the canvas. Parallel to the views.
[[nodiscard]] std::vector<std::string> view_digests(const std::vector<FrameView>&, const FlightRecord&);

}  // namespace lookdown::mosaic
