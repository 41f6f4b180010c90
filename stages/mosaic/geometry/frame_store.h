// Decoded frames while tiles are rendered: each is decoded once as long as the memory allows, whichever
// thread asks first.
#pragma once

#include <cstdint>
#include <filesystem>
#include <opencv2/core.hpp>
#include <utility>

#include "pipeline/imaging/frame_reader.h"
#include "pipeline/imaging/picture_store.h"
#include "pipeline/record/flight_record.h"

namespace lookdown::mosaic {

/// Keeps the frames used last within `budget_bytes` (at least one). Safe for use from several threads.
class FrameStore {
 public:
  FrameStore(const FrameReader& reader, const FlightRecord& flight, std::filesystem::path out,
             std::int64_t budget_bytes, int depth = CV_8U)
      : reader_(reader), flight_(flight), out_(std::move(out)), store_(budget_bytes), depth_(depth) {}

  using Picture = PictureStore::Picture;
  [[nodiscard]] int depth() const { return depth_; }
  /// The frame at 1/reduction size, three channels of the store's depth: CV_8U, or CV_16U to which frames of
  /// eight bits are widened. Throws FrameFault when the file can no longer be read.
  [[nodiscard]] Picture bgr(int frame_index, int reduction);
  /// CV_8UC1 of the frame's size, 255 = glare; null when there is none or it does not fit the frame.
  [[nodiscard]] Picture glare_mask(int frame_index);

 private:
  const FrameReader& reader_;
  const FlightRecord& flight_;
  std::filesystem::path out_;
  PictureStore store_;  // by frame and reduction; 0 for the mask of glare
  int depth_;
};

}  // namespace lookdown::mosaic
