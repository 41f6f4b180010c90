#include <cmath>
#include <fstream>
#include <opencv2/imgproc.hpp>
#include <sstream>
#include <stdexcept>

#include "pipeline/base/angles.h"
#include "stages/level/level.h"
#include "tests/bench/level/known_frames.h"

namespace lookdown::level {
namespace {

namespace fs = std::filesystem;

constexpr int kWorkingLongSide = 1700;  // as level::find has it
/// Of the height: a horizon nearer to the rim than that is left out of turned pictures.
constexpr double kLeastMargin = 0.08;
constexpr int kSmallLongSide = 640;  ///< of turned photographs

/// a x + b y + c of a picture in pixels of its copy at `factor` times its size; pixel centres are kept.
Eigen::Vector3d resized(const Eigen::Vector3d& line, double factor) {
  return {line.x(), line.y(), line.z() * factor + (0.5 - 0.5 * factor) * (line.x() + line.y())};
}

/// npm/PACKAGE/..., npm/@SCOPE/PACKAGE/..., or the folder that a Debian package has for its pictures.
std::string package_of(const std::string& listed) {
  std::vector<std::string> parts;
  std::istringstream stream(listed);
  for (std::string part; std::getline(stream, part, '/');)
    if (!part.empty()) parts.push_back(part);
  const std::size_t most = parts.front() == "npm" && !parts[1].starts_with('@') ? 2 : 3;
  std::string name;
  for (std::size_t i = 0; i < std::min(most, parts.size() - 1); ++i) name += parts[i] + "/";
  return name;
}

/// The horizon from `left` to `right`, hundredths of the height at the picture's rims.
void add_horizon(KnownFrame& frame, double left, double right) {
  const double width = frame.camera->width_px, height = frame.camera->height_px;
  const double slope = (right - left) / 100 * height / width;
  frame.has_horizon = true;
  frame.roll_deg = std::atan(slope) / kDegree;
  frame.line = Eigen::Vector3d(slope, -1, left / 100 * height - 0.5);
}

/// The frame turned clockwise, in its own shape. Empty where its horizon would leave what is left.
std::optional<SeenFrame> turned(const SeenFrame& seen, double angle_deg) {
  const cv::Size size = seen.bgr.size();
  const double angle = angle_deg * kDegree;
  const double long_side = std::max(size.width, size.height), short_side = std::min(size.width, size.height);
  const double kept = 1 / (std::cos(angle) + long_side / short_side * std::abs(std::sin(angle)));
  const double factor = std::min(1.0, kSmallLongSide / (kept * long_side));
  const cv::Size cut(cvRound(kept * factor * size.width), cvRound(kept * factor * size.height));
  cv::Mat small;
  cv::resize(seen.bgr, small, {}, factor, factor, cv::INTER_AREA);
  // From pixels of the small picture to those of the cut one.
  cv::Matx23d turn(std::cos(angle), -std::sin(angle), 0, std::sin(angle), std::cos(angle), 0);
  const cv::Vec2d middle(0.5 * (small.cols - 1), 0.5 * (small.rows - 1));
  turn(0, 2) = 0.5 * (cut.width - 1) - turn(0, 0) * middle[0] - turn(0, 1) * middle[1];
  turn(1, 2) = 0.5 * (cut.height - 1) - turn(1, 0) * middle[0] - turn(1, 1) * middle[1];
  SeenFrame out{{}, assumed_camera(cut.width, cut.height), seen.known};
  cv::warpAffine(small, out.bgr, turn, cut, cv::INTER_LINEAR, cv::BORDER_REFLECT_101);
  out.known.camera = out.camera;
  if (!seen.known.line) return out;
  const Eigen::Vector3d line = resized(*seen.known.line, factor);
  const Eigen::Matrix2d rotation{{turn(0, 0), turn(0, 1)}, {turn(1, 0), turn(1, 1)}};
  const Eigen::Vector2d normal = rotation * line.head<2>(), shift(turn(0, 2), turn(1, 2));
  out.known.line = Eigen::Vector3d(normal.x(), normal.y(), line.z() - normal.dot(shift));
  out.known.roll_deg = std::atan2(normal.x(), -normal.y()) / kDegree;
  const double from_middle =
      std::abs(normal.dot(Eigen::Vector2d(0.5 * cut.width, 0.5 * cut.height)) + out.known.line->z()) /
      normal.norm();
  if (from_middle > (0.5 - kLeastMargin) * cut.height) return std::nullopt;
  return out;
}

}  // namespace

std::optional<FrameSource> source_of(const KnownFrame& known, const FrameReader& reader) {
  FrameSource source;
  source.path = known.path;
  source.file = known.path.filename().string();
  source.orientation = known.orientation;
  const auto header = reader.header(known.path);
  if (!header) return std::nullopt;
  source.width_px = header->width_px;
  source.height_px = header->height_px;
  return source;
}

std::vector<KnownFrame> known_photographs(const fs::path& list, const std::string& part,
                                          const bench::PackageFolders& folders) {
  std::ifstream file(list);
  if (!file) throw std::runtime_error(list.string() + ": cannot be read");
  const FrameReader reader;
  std::vector<KnownFrame> known;
  for (std::string row; std::getline(file, row);) {
    std::istringstream cells(row);
    std::string its_part, listed;
    if (row.starts_with('#') || !(cells >> its_part >> listed) || its_part != part) continue;
    KnownFrame frame;
    frame.path = bench::package_file(listed, folders);
    frame.source = package_of(listed);
    const auto source = source_of(frame, reader);
    if (!source) throw std::runtime_error(listed + ": cannot be read");
    frame.camera = assumed_camera(source->width_px, source->height_px);
    if (double left, right; cells >> left >> right >> frame.roll_error_deg) add_horizon(frame, left, right);
    frame.kind = frame.has_horizon ? "photograph" : "photograph, no horizon";
    known.push_back(frame);
  }
  return known;
}

std::optional<SeenFrame> seen_frame(const KnownFrame& known) {
  const FrameReader reader;
  const auto source = source_of(known, reader);
  if (!source) return std::nullopt;
  FramePixels pixels(reader, *source);
  const int reduction = pixels.reduction_for(kWorkingLongSide);
  const Camera camera = known.camera.value_or(assumed_camera(source->width_px, source->height_px));
  SeenFrame seen{pixels.bgr(reduction).clone(), camera.scaled(1.0 / reduction), known};
  if (known.line) seen.known.line = resized(*known.line, 1.0 / reduction);
  seen.known.camera = seen.camera;
  return seen;
}

std::vector<SeenFrame> with_turned(const SeenFrame& seen) {
  std::vector<SeenFrame> views{seen};
  for (const double turn_deg :
       seen.known.has_horizon ? std::vector<double>{-17, -6, 9} : std::vector<double>{13})
    if (auto view = turned(seen, turn_deg)) views.push_back(std::move(*view));
  return views;
}

}  // namespace lookdown::level
