// Distinct spots of one frame and what they look like (SIFT: Lowe, IJCV 60:91-110, 2004; square-root form:
// Arandjelovic & Zisserman, CVPR 2012). Positions are pixels of the frame as stored with the lens distortion
// still in.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "pipeline/imaging/frame_reader.h"

namespace cv {
class Mat;
}

namespace lookdown::place {

/// Length of one description.
inline constexpr int kDescriptorBytes = 128;

/// One spot.
struct Feature {
  float x_px = 0;  ///< frame as stored
  float y_px = 0;
  float size_px = 0;    ///< diameter of the described neighbourhood's blob, frame as stored
  float angle_rad = 0;  ///< dominant gradient direction, clockwise from +x (y down)
};

/// Spots of one frame, the most dependable first, evenly spread over the frame.
struct FrameFeatures {
  float work_scale = 1;  ///< pixels of the searched copy for each pixel of the frame as stored
  std::vector<Feature> spots;
  std::vector<std::uint8_t>
      descriptors;  ///< spots.size() rows of kDescriptorBytes, each of length close to 127 * sqrt(2)

  [[nodiscard]] const std::uint8_t* descriptor(std::size_t i) const {
    return descriptors.data() + i * kDescriptorBytes;
  }
  [[nodiscard]] std::size_t size() const { return spots.size(); }
};

struct FeatureOptions {
  double work_megapixels = 1.5;  ///< size of the copy that is searched
  int most = 2600;               ///< spots kept
};

/// Part of a cache key that changes when `find_features` would answer otherwise.
[[nodiscard]] std::string cache_words(const FeatureOptions&);

/// Finds the spots of an 8-bit grey picture that shows a frame of width_px x height_px at some reduction.
/// `left_out` (CV_8UC1, any size, 255 = do not use, may be empty) covers the whole frame.
[[nodiscard]] FrameFeatures find_features(const cv::Mat& grey, int width_px, int height_px,
                                          const cv::Mat& left_out, const FeatureOptions&);

/// The reduction (1, 2, 4, 8) at which a frame should be decoded for `find_features`.
[[nodiscard]] int reduction_for(int width_px, int height_px, const FeatureOptions&);

/// Memory that `find_features` takes for a frame of width_px x height_px on top of the decoded frame, bytes.
[[nodiscard]] std::int64_t peak_bytes_of_search(int width_px, int height_px, const FeatureOptions&);

/// Compact form for the cache and back; an unreadable text gives an empty set and false.
[[nodiscard]] std::string pack(const FrameFeatures&);
[[nodiscard]] bool unpack(std::string_view, FrameFeatures&);

}  // namespace lookdown::place
