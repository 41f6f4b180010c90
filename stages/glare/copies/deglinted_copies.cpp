#include <fmt/format.h>
#include <algorithm>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/encode.h"
#include "pipeline/imaging/metadata/derived_metadata.h"
#include "stages/glare/across/view_comparison.h"
#include "stages/glare/copies/deglint.h"
#include "stages/glare/glare.h"

namespace lookdown::glare {
namespace {

constexpr int kMostDonors = 6;
constexpr double kLeastGlareShare = 0.0005;

// Exif orientation 1..8 (CIPA DC-008): as displayed from as stored.
cv::Mat displayed(const cv::Mat& stored, int orientation) {
  cv::Mat out = stored.clone();
  if (orientation >= 5 && orientation <= 8) cv::transpose(out, out);
  if (orientation == 2 || orientation == 3 || orientation == 6 || orientation == 7) cv::flip(out, out, 1);
  if (orientation == 3 || orientation == 4 || orientation == 7 || orientation == 8) cv::flip(out, out, 0);
  return out;
}

// Empty where the mask of a frame with glare was not kept.
cv::Mat mask_of(const FrameRecord& frame, const RunContext& context, cv::Size size) {
  if (frame.glare->mask_file.empty())
    return frame.glare->glare_share > 0 ? cv::Mat() : cv::Mat::zeros(size, CV_8UC1);
  auto mask = context.reader.grey(context.out / frame.glare->mask_file);
  return mask && mask->size() == size ? *mask : cv::Mat();
}

// Donors are taken as seen, at the size of the frame.
Donor donor_from(const FrameRecord& frame, const PlacedCamera& place, const SightGrid& own,
                 const RunContext& context) {
  FramePixels pixels(context.reader, frame.source);
  const cv::Mat& bgr = pixels.bgr();
  const cv::Mat mask = mask_of(frame, context, bgr.size());
  if (mask.empty()) return {};
  const cv::Mat map = map_to_other(own, place, bgr.size()), inside(bgr.size(), CV_8UC1, cv::Scalar(255));
  Donor donor;
  cv::Mat share;
  cv::remap(bgr, donor.bgr, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(mask, share, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(inside, donor.seen, map, {}, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
  donor.glare = share > 0;
  return donor;
}

void save(const std::filesystem::path& path, const cv::Mat& picture, const FrameRecord& frame,
          const std::vector<std::string>& donors) {
  std::vector<std::uint8_t> bytes = encode_picture(path.extension().string(), picture, 95);
  if (picture.channels() == 3)
    bytes = with_metadata_of(frame.source.path, std::move(bytes), picture.cols, picture.rows,
                             {"glare filled from other frames' pixels of the same ground", donors,
                              attribution_of({frame.source.path})});
  write_file(path, bytes);
}

}  // namespace

int write_deglinted(FlightRecord& flight, const std::filesystem::path& folder, RunContext& context) {
  std::map<int, std::vector<int>> groups;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const FrameRecord& frame = flight.frames[i];
    if (frame.placement.placed && frame.glare && frame.decision.verdict != Verdict::drop)
      groups[frame.placement.group].push_back(static_cast<int>(i));
  }
  int written = 0;
  double filled_share = 0, left_share = 0;
  for (const auto& of_group : groups) {
    const std::vector<int>& members = of_group.second;
    const std::vector<PlacedCamera> places = placed_cameras(flight, members);
    const auto views = choose_views(places, kMostDonors);
    std::vector<cv::Vec2d> shares(members.size(), cv::Vec2d(-1, -1));
    constexpr std::int64_t kBytesAPixel = 40;  // the frame, its donors, and masks of them
    std::int64_t most_pixels = 1;
    for (const int index : members)
      most_pixels = std::max(most_pixels, std::int64_t{flight.frames[index].source.width_px} *
                                              flight.frames[index].source.height_px);
    context.scheduler.for_each_frame(
        members.size(), kBytesAPixel * most_pixels,
        [&](std::size_t i) {
          const FrameRecord& frame = flight.frames[members[i]];
          if (frame.glare->glare_share < kLeastGlareShare || views[i].empty()) return;
          FramePixels pixels(context.reader, frame.source);
          const cv::Mat& bgr = pixels.bgr();
          const cv::Mat mask = mask_of(frame, context, bgr.size());
          if (mask.empty()) return;
          const SightGrid grid(places[i], bgr.size());
          std::vector<Donor> donors;
          std::vector<std::string> names{frame.source.file};
          for (const int j : views[i]) {
            Donor donor = donor_from(flight.frames[members[j]], places[j], grid, context);
            if (donor.bgr.empty()) continue;
            donors.push_back(std::move(donor));
            names.push_back(flight.frames[members[j]].source.file);
          }
          const Filled filled = fill_from(bgr, mask, donors);
          const std::filesystem::path stem = folder / frame.source.stem;
          save(stem.string() + ".jpg", displayed(filled.bgr, frame.source.orientation), frame, names);
          save(stem.string() + "_origin.png", displayed(filled.origin, frame.source.orientation), frame,
               names);
          const double total = static_cast<double>(bgr.total());
          shares[i] = {cv::countNonZero(filled.origin == kFilled) / total,
                       cv::countNonZero(filled.origin == kGlareLeft) / total};
        },
        [&](std::size_t i, const std::optional<Fault>& fault) {
          if (fault || shares[i][0] < 0) return;
          ++written;
          filled_share += shares[i][0];
          left_share += shares[i][1];
        });
  }
  if (written > 0)
    flight.notes.push_back(
        fmt::format("Glare: {} deglinted copies; on average {:.2f} % of a frame filled from other frames' "
                    "pixels, {:.2f} % left as "
                    "glare because no other frame shows it without.",
                    written, 100 * filled_share / written, 100 * left_share / written));
  return written;
}

}  // namespace lookdown::glare
