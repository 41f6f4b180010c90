#include "tests/bench/level/known_frames.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <numbers>
#include <sstream>

#include "pipeline/base/angles.h"
#include "pipeline/record/record_json.h"

namespace lookdown::level {
namespace {

namespace fs = std::filesystem;

Camera camera_of(const nlohmann::json& truth) {
  Camera camera = camera_from_json(truth);
  camera.focal_from = "calibration file";
  camera.focal_sigma_share = 1e-4;
  return camera;
}

std::vector<KnownFrame> rendered(const fs::path& folder) {
  std::ifstream stream(folder / "truth.json");
  const auto truth = nlohmann::json::parse(stream);
  const Camera camera = camera_of(truth.at("camera"));
  std::vector<KnownFrame> known;
  for (const auto& f : truth.at("frames")) {
    KnownFrame k;
    k.path = folder / f.at("file").get<std::string>();
    k.kind = f.value("kind", "nadir");
    if (!f.value("sharp", true)) k.kind += " blurred";
    k.orientation = f.value("orientation", 1);
    k.camera = camera;
    if (f.contains("off_nadir_deg") && f.at("off_nadir_deg").is_number())
      k.off_nadir_deg = f.at("off_nadir_deg");
    if (f.contains("horizon") && f.at("horizon").is_object()) {
      k.has_horizon = true;
      k.roll_deg = f.at("horizon").at("roll_deg");
      k.pitch_deg = f.at("horizon").at("pitch_deg");
      k.line = Eigen::Vector3d(f.at("horizon").at("a"), f.at("horizon").at("b"), f.at("horizon").at("c"));
    }
    known.push_back(k);
  }
  return known;
}

/// y = slope x + offset * 480 as a line, 480 pixels being the height of the labelled pictures.
Eigen::Vector3d label_line(double slope, double offset) {
  return {slope, -1, offset * 480};
}

std::vector<KnownFrame> labelled(const fs::path& folder) {
  std::ifstream stream(folder / "labels.csv");
  std::string line;
  std::getline(stream, line);
  std::vector<KnownFrame> known;
  while (std::getline(stream, line)) {
    std::istringstream cells(line);
    std::string file, slope, offset;
    if (!std::getline(cells, file, ',') || !std::getline(cells, slope, ',') ||
        !std::getline(cells, offset, ','))
      continue;
    KnownFrame frame;
    frame.path = folder / file;
    frame.kind = "labelled";
    frame.has_horizon = true;
    frame.roll_deg = std::atan(std::stod(slope)) / kDegree;
    frame.line = label_line(std::stod(slope), std::stod(offset));
    known.push_back(frame);
  }
  return known;
}

std::vector<KnownFrame> unlabelled(const fs::path& folder) {
  std::vector<KnownFrame> known;
  for (const auto& entry : fs::directory_iterator(folder)) {
    std::string ending = entry.path().extension().string();
    std::transform(ending.begin(), ending.end(), ending.begin(),
                   [](unsigned char c) { return std::tolower(c); });
    if (ending != ".jpg" && ending != ".png" && ending != ".jpeg") continue;
    KnownFrame frame;
    frame.path = entry.path();
    frame.kind = "no horizon";
    known.push_back(frame);
  }
  std::sort(known.begin(), known.end(),
            [](const KnownFrame& a, const KnownFrame& b) { return a.path < b.path; });
  return known;
}

}  // namespace

std::vector<KnownFrame> known_frames(const fs::path& folder) {
  std::vector<KnownFrame> known = fs::exists(folder / "truth.json")   ? rendered(folder)
                                  : fs::exists(folder / "labels.csv") ? labelled(folder)
                                                                      : unlabelled(folder);
  for (KnownFrame& frame : known) frame.source = folder.filename().string();
  return known;
}

double distance_from_known(const KnownFrame& known, const Eigen::Vector3d& found, int reduction) {
  if (!known.line) return -1;
  const double width = known.camera ? known.camera->width_px : 480,
               height = known.camera ? known.camera->height_px : 480;
  const Eigen::Vector2d normal = found.head<2>();
  const Eigen::Vector2d centre(0.5 * width, 0.5 * height);
  const Eigen::Vector2d foot = centre - (normal.dot(centre) + found.z() * reduction) * normal;
  const double miss = known.line->head<2>().dot(foot) + known.line->z();
  return std::abs(miss) / known.line->head<2>().norm() / std::max(width, height);
}

}  // namespace lookdown::level
