// Which spots of two frames look alike. Distances are exact integers, so the answer is the same on every
// processor.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "pipeline/geometry/pixel_spaces.h"
#include "stages/place/features/features.h"

namespace lookdown::place {

/// Spot `a` of the first frame looks like spot `b` of the second.
struct Match {
  int a = 0;
  int b = 0;
};

/// Descriptors widened for fast comparison.
struct WideDescriptors {
  std::vector<std::int16_t> rows;  ///< kDescriptorBytes a spot
  std::vector<std::int32_t> square_length;
  [[nodiscard]] std::size_t size() const { return square_length.size(); }
};
/// The first `most` spots only.
[[nodiscard]] WideDescriptors widen(const FrameFeatures&, std::size_t most);

/// Mutual nearest neighbours whose distance is below `ratio` times that to the nearest spot at another place
/// (Lowe 2004, sec. 7.1).
[[nodiscard]] std::vector<Match> match_all(const FrameFeatures& a, const WideDescriptors& wide_a,
                                           const FrameFeatures& b, const WideDescriptors& wide_b,
                                           double ratio);

/// Where a spot of the first frame should lie in the second, and how it should look there.
struct Expectation {
  float x_px = 0, y_px = 0;  ///< frame b as stored
  float turn_rad = 0;        ///< added to the angle
  float log_scale = 0;       ///< natural logarithm of the size ratio b / a
  bool inside = false;       ///< false: not in frame b
};

/// Mutual nearest neighbours among spots within `radius_px` of where they are expected, turned and scaled as
/// expected.
[[nodiscard]] std::vector<Match> match_near(const FrameFeatures& a, const FrameFeatures& b,
                                            const std::vector<Expectation>& expected, double radius_px,
                                            double ratio);

/// A straight stretch of a frame along which a spot of another frame may show, undistorted pixels, and how it
/// should look there.
struct Stretch {
  std::array<float, 2> from{}, to{};
  std::array<float, 2> middle{};  ///< a point of the stretch that the caller wants to know again
  float turn_rad = 0;             ///< added to the angle
  float log_scale = 0;            ///< natural logarithm of the size ratio b / a
  bool used = false;
};

/// Mutual nearest neighbours among spots within `width_px` of the stretch of each spot of the first frame,
/// turned and scaled as expected. `positions` are those of b's spots, undistorted; `taken` marks spots of b
/// to leave out.
[[nodiscard]] std::vector<Match> match_along(const FrameFeatures& a, const FrameFeatures& b,
                                             const std::vector<std::array<float, 2>>& positions,
                                             const std::vector<Stretch>& stretches,
                                             const std::vector<char>& taken, double width_px, double ratio);

/// Keeps matches that agree with the most frequent turn (within `turn_rad`) and size ratio (within
/// `log_scale`): two frames of one plane seen from above differ mainly by a turn and a scale, so chance
/// matches scatter over both.
[[nodiscard]] std::vector<Match> agreeing_in_turn_and_scale(const FrameFeatures& a, const FrameFeatures& b,
                                                            const std::vector<Match>& matches,
                                                            double turn_rad, double log_scale);

}  // namespace lookdown::place
