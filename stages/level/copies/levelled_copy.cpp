#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/metadata/derived_metadata.h"
#include "stages/level/copies/display_turn.h"
#include "stages/level/copies/levelled_view.h"
#include "stages/level/level.h"

namespace lookdown::level {
namespace {

constexpr int kRowsAtOnce = 256;

const Camera& camera_of(const FrameRecord& frame) {
  return frame.placement.placed ? frame.placement.camera : frame.info.camera;
}

Result<LevelledView> choose_view(const FrameRecord& frame, bool upright) {
  const Fault unknown{
      "level", frame.source.file, upright ? "its tilt is not known" : "no horizon was found in it",
      upright ? "place the flight first, or choose a frame with a horizon or with vertical edges"
              : "choose another frame, or use upright when its tilt is known from elsewhere"};
  if (!upright) {
    if (!frame.horizon) return unknown;
    return turned_view(camera_of(frame), frame.horizon->roll_deg * kDegree, frame.source.orientation);
  }
  if (!frame.tilt) return unknown;
  const auto& down = frame.tilt->down_in_camera;
  return upright_view(camera_of(frame), Eigen::Vector3d(down[0], down[1], down[2]).normalized(),
                      frame.source.orientation);
}

/// Aspect of the frame as a person sees it.
double shown_aspect(const FrameSource& source) {
  const double aspect = static_cast<double>(source.width_px) / source.height_px;
  return swaps_sides(source.orientation) ? 1 / aspect : aspect;
}

/// Pixels of the rectangle, each looked up once in the frame (Lanczos over 8 x 8 pixels); `alpha` is 0
/// outside the frame.
cv::Mat resample(const cv::Mat& frame, const LevelledView& view, const ViewRectangle& r, const cv::Size& size,
                 cv::Mat1b& alpha) {
  cv::Mat out(size, frame.type());
  alpha.create(size);
  for (int first = 0; first < size.height; first += kRowsAtOnce) {
    const int rows = std::min(kRowsAtOnce, size.height - first);
    cv::Mat1f map_x(rows, size.width), map_y(rows, size.width);
    for (int y = 0; y < rows; ++y)
      for (int x = 0; x < size.width; ++x) {
        const auto source = view.source_of(r.x_min + x + 0.5, r.y_min + first + y + 0.5);
        map_x(y, x) = source ? static_cast<float>(source->x) : -10.F;
        map_y(y, x) = source ? static_cast<float>(source->y) : -10.F;
        alpha(first + y, x) = source ? 255 : 0;
      }
    cv::Mat strip = out.rowRange(first, first + rows);
    cv::remap(frame, strip, map_x, map_y, cv::INTER_LANCZOS4, cv::BORDER_REFLECT_101);
  }
  return out;
}

/// Puts the alpha beside the colours, full scale in the picture's own depth.
cv::Mat with_alpha(const cv::Mat& bgr, const cv::Mat1b& alpha) {
  cv::Mat scaled, out;
  alpha.convertTo(scaled, bgr.depth(), bgr.depth() == CV_16U ? 257.0 : 1.0);
  std::vector<cv::Mat> planes;
  cv::split(bgr, planes);
  for (cv::Mat& plane : planes) plane.setTo(0, alpha == 0);
  planes.push_back(scaled);
  cv::merge(planes, out);
  return out;
}

std::string what_was_done(const FrameRecord& frame, const CopyOptions& options) {
  if (options.upright)
    return fmt::format("re-projected upright, {:.2f} degrees off the vertical before",
                       frame.tilt->off_nadir_deg);
  return fmt::format("levelled: turned by {:.2f} degrees", frame.horizon->roll_deg);
}

std::string ending_for(const FrameSource& source, bool transparent, bool sixteen_bits) {
  if (transparent) return ".png";
  if (source.format == "PNG") return ".png";
  return source.format == "TIFF" || source.format == "RAW" || sixteen_bits ? ".tif" : ".jpg";
}

Result<cv::Mat> pixels_of(const FrameRecord& frame, const CopyOptions& options, const FrameReader& reader) {
  return options.bits == "16" ? reader.bgr_native(frame.source.path) : reader.bgr(frame.source.path);
}

}  // namespace

void describe(CopyOptions& options, OptionVisitor& visitor) {
  visitor.option({"upright", "re-project to a level or straight-down view instead of turning only"},
                 options.upright);
  visitor.option({"levelled-edges",
                  "crop to the largest clean rectangle, or keep the whole frame on a transparent canvas",
                  0,
                  0,
                  {"crop", "transparent"}},
                 options.fill);
  visitor.option({"aspect", "width / height of the crop; empty: that of the frame as displayed", 0.1, 10},
                 options.aspect);
  visitor.option({"quality", "JPEG quality of the copies", 50, 100}, options.quality);
  visitor.option(
      {"bits",
       "a sample of the copies; 16 keeps what camera raw and other frames of more than 8 bits hold",
       0,
       0,
       {"8", "16"}},
      options.bits);
}

Result<std::filesystem::path> write_levelled(const FrameRecord& frame, const std::filesystem::path& folder,
                                             const CopyOptions& options, const FrameReader& reader) {
  const auto view = choose_view(frame, options.upright);
  if (!view) return view.error();
  const bool transparent = options.fill == "transparent";
  ViewRectangle rectangle;
  if (transparent) {
    rectangle = whole_frame_rectangle(*view);
  } else {
    const auto clean = largest_clean_rectangle(*view, options.aspect.value_or(shown_aspect(frame.source)));
    if (!clean)
      return Fault{"level", frame.source.file, "no rectangle of the asked shape fits into it",
                   "ask for another aspect"};
    rectangle = *clean;
  }
  const cv::Size size(std::max(1, static_cast<int>(rectangle.width())),
                      std::max(1, static_cast<int>(rectangle.height())));
  const double frame_pixels = static_cast<double>(frame.source.width_px) * frame.source.height_px;
  if (static_cast<double>(size.width) * size.height > 8 * frame_pixels)
    return Fault{"level", frame.source.file,
                 "the upright view is more than eight times as large as the frame",
                 "use fill=crop, or turn only"};
  const auto pixels = pixels_of(frame, options, reader);
  if (!pixels) return pixels.error();

  cv::Mat1b alpha;
  cv::Mat levelled = resample(*pixels, *view, rectangle, size, alpha);
  if (transparent) levelled = with_alpha(levelled, alpha);
  const std::string ending = ending_for(frame.source, transparent, levelled.depth() == CV_16U);
  std::vector<std::uint8_t> bytes;
  if (!cv::imencode(ending, levelled, bytes, {cv::IMWRITE_JPEG_QUALITY, options.quality}))
    return Fault{"level", frame.source.file, "the levelled copy could not be encoded", ""};
  bytes = with_metadata_of(frame.source.path, std::move(bytes), size.width, size.height,
                           {what_was_done(frame, options), {frame.source.file}, {}});
  const auto path = folder / (frame.source.stem + ending);
  write_file(path, std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()));
  return path;
}

}  // namespace lookdown::level
