// Census of a picture's neighbourhoods: which of each two opposite neighbours is brighter.
#pragma once

#include <array>
#include <cstdint>
#include <opencv2/core.hpp>

namespace lookdown::surface {

/// 24 bits a place: the opposite pairs of 7 x 7 neighbours, in three planes of bytes.
struct Census {
  static constexpr int kReach = 3;
  static constexpr int kBits = 24;
  std::array<cv::Mat, 3> planes;  ///< CV_8UC1
  cv::Mat seen;                   ///< CV_8UC1, 255 where the whole neighbourhood is; empty: everywhere
};

/// Of a grey picture (CV_8UC1) in which 0 stands for what is not seen.
void take_census(const cv::Mat& grey, Census&);

/// Bits that differ, CV_8UC1, 0..24; kUnknown where not both are seen.
void differing_bits(const Census&, const Census&, cv::Mat& bits);
inline constexpr std::uint8_t kUnknown = 255;

}  // namespace lookdown::surface
