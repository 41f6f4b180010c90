// From a frame as stored to the frame as displayed. Positions on the page are shares of the displayed width
// and height, 0..1 from the top-left corner, so that they do not depend on the size of the picture they are
// drawn on.
#pragma once

#include <optional>

#include "pipeline/geometry/camera.h"
#include "pipeline/record/flight_record.h"

namespace cv {
class Mat;
}

namespace lookdown::report {

/// Position on the displayed frame, shares of its width and height.
struct DisplayedShare {
  double x = 0;
  double y = 0;
};

/// Turns positions by Exif orientation (CIPA DC-008, tag 0x0112: which side row 0 and column 0 are on).
class DisplayedFrame {
 public:
  explicit DisplayedFrame(const FrameSource& source)
      : orientation_(source.orientation), width_px_(source.width_px), height_px_(source.height_px) {}

  /// True when rows of the stored frame stand upright on display (orientations 5 to 8).
  [[nodiscard]] bool on_its_side() const { return orientation_ >= 5 && orientation_ <= 8; }
  [[nodiscard]] int width_px() const { return on_its_side() ? height_px_ : width_px_; }
  [[nodiscard]] int height_px() const { return on_its_side() ? width_px_ : height_px_; }

  [[nodiscard]] DisplayedShare share(const Point2<StoredPx>& stored) const;
  /// Empty where the lens model does not hold any more (beyond its monotonic radius).
  [[nodiscard]] std::optional<DisplayedShare> share(const Point2<UndistortedPx>& undistorted,
                                                    const Camera& camera) const;
  /// A direction counter-clockwise from +x with y up, in degrees, of the stored frame, as seen on the
  /// displayed one; for directions without a sense: 0..180.
  [[nodiscard]] double axis_deg(double stored_deg) const;

 private:
  int orientation_;
  int width_px_;
  int height_px_;
};

/// Turns pixels as stored into pixels as displayed.
[[nodiscard]] cv::Mat turned_for_display(const cv::Mat& stored, int orientation);

}  // namespace lookdown::report
