#include <cpl_error.h>
#include <cpl_minixml.h>
#include <yaml-cpp/yaml.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <memory>
#include <optional>
#include <span>
#include <sstream>
#include <stdexcept>
#include <vector>

#include "stages/inspect/camera_choice.h"
#include "stages/inspect/radial_fit.h"

namespace lookdown::inspect {
namespace {

// OpenCV writes its calibrations as YAML, XML or JSON. Its own reader is not used: a damaged file makes it
// take gigabytes, run for ever or fall over.
struct CalibrationText {
  std::vector<double> camera_matrix;  // row by row
  std::vector<double> distortion;
  double image_width = 0, image_height = 0;
  bool fisheye = false;
};

std::string text_of(const std::string& file) {
  constexpr std::size_t kMostBytes = 1'000'000;
  std::ifstream stream(file, std::ios::binary);
  std::string text(kMostBytes + 1, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(stream.gcount()));
  if (text.empty())
    throw std::runtime_error(file + ": calibration file cannot be opened, or is empty; check the name");
  const auto is_control = [](unsigned char byte) {
    return byte < 0x20 && byte != '\n' && byte != '\r' && byte != '\t';
  };
  if (text.size() > kMostBytes || std::any_of(text.begin(), text.end(), is_control))
    throw std::runtime_error(file + ": is no OpenCV calibration file (too long, or not text)");
  return text;
}

// Blanks between numbers, as in OpenCV's XML. Empty if there is anything else.
std::vector<double> numbers_in(std::string_view text) {
  std::vector<double> numbers;
  const char *at = text.data(), *const end = at + text.size();
  const auto is_blank = [](char c) { return c == ' ' || c == '\n' || c == '\r' || c == '\t'; };
  while ((at = std::find_if_not(at, end, is_blank)) != end) {
    double number = 0;
    const auto [rest, fault] = std::from_chars(at, end, number);
    if (fault != std::errc{}) return {};
    numbers.push_back(number);
    at = rest;
  }
  return numbers;
}

// The numbers of a matrix, whatever its shape; none if it is no list of numbers.
std::vector<double> numbers_of(const YAML::Node& node) {
  const YAML::Node listed = node.IsMap() ? node["data"] : node;
  std::vector<double> numbers;
  if (!listed.IsSequence()) return numbers;
  for (const YAML::Node& number : listed) {
    if (!number.IsScalar()) return {};
    const std::vector<double> read =
        numbers_in(number.Scalar());  // "520." is a number here, unlike in strict YAML
    if (read.size() != 1) return {};
    numbers.push_back(read.front());
  }
  return numbers;
}

double number_of(const YAML::Node& node) {
  const std::vector<double> read = node.IsScalar() ? numbers_in(node.Scalar()) : std::vector<double>{};
  return read.size() == 1 ? read.front() : 0;
}

CalibrationText read_yaml(const std::string& text) {
  // OpenCV begins its files with "%YAML:1.0", which is no YAML directive.
  const std::size_t start = text.starts_with("%YAML:") ? text.find('\n') : 0;
  const YAML::Node root = YAML::Load(start == std::string::npos ? "" : text.substr(start));
  if (!root.IsMap()) return {};
  CalibrationText read;
  if (const YAML::Node matrix = root["camera_matrix"]) read.camera_matrix = numbers_of(matrix);
  if (const YAML::Node distortion = root["distortion_coefficients"]) read.distortion = numbers_of(distortion);
  if (const YAML::Node width = root["image_width"]) read.image_width = number_of(width);
  if (const YAML::Node height = root["image_height"]) read.image_height = number_of(height);
  if (const YAML::Node fisheye = root["fisheye_model"]) read.fisheye = number_of(fisheye) != 0;
  return read;
}

CalibrationText read_xml(const std::string& text) {
  const CPLErrorHandlerPusher silence(CPLQuietErrorHandler);  // the caller says what is wrong
  const std::unique_ptr<CPLXMLNode, decltype(&CPLDestroyXMLNode)> root(CPLParseXMLString(text.c_str()),
                                                                       &CPLDestroyXMLNode);
  if (!root) return {};
  const auto numbers_at = [&](const char* path) { return numbers_in(CPLGetXMLValue(root.get(), path, "")); };
  const auto number_at = [&](const char* path) {
    const std::vector<double> read = numbers_at(path);
    return read.size() == 1 ? read.front() : 0;
  };
  return {numbers_at("=opencv_storage.camera_matrix.data"),
          numbers_at("=opencv_storage.distortion_coefficients.data"),
          number_at("=opencv_storage.image_width"), number_at("=opencv_storage.image_height"),
          number_at("=opencv_storage.fisheye_model") != 0};
}

bool can_be_computed_with(const Camera& camera) {
  for (const double term : {camera.fx_px, camera.fy_px, camera.cx_px, camera.cy_px, camera.k1, camera.k2,
                            camera.p1, camera.p2, camera.k3})
    if (!std::isfinite(term)) return false;
  return camera.fx_px > 0 && camera.fy_px > 0;
}

bool is_side(double count) {
  return count >= 1 && count <= 1e6 && count == std::floor(count);
}

/// Of OpenCV's four fisheye terms this program has three: fitted anew to what the four do within the picture.
void take_fourth_term(double k4, const std::string& file, Camera& camera) {
  constexpr double kMostMiss_px = 1, kStep_rad = 0.02, kFarthest_rad = 1.5;
  const double half_diagonal_px = 0.5 * std::hypot(camera.width_px, camera.height_px);
  std::vector<Eigen::Vector2d> radii;
  for (double angle = kStep_rad; angle < kFarthest_rad; angle += kStep_rad) {
    const double t = angle * angle;
    const double bent = 1 + t * (camera.k1 + t * (camera.k2 + t * (camera.k3 + t * k4)));
    radii.emplace_back(camera.fx_px * angle, camera.fx_px * angle * bent);
    if (radii.back().y() > half_diagonal_px) break;
  }
  if (!(fit_radial(radii, camera) < kMostMiss_px))
    throw std::runtime_error(file + ": its fisheye terms cannot be reduced to three; calibrate without k4");
}

}  // namespace

Camera read_calibration(const std::string& file) {
  const std::string text = text_of(file);
  CalibrationText read;
  try {
    read = text.find_first_not_of(" \r\n\t") == text.find('<') ? read_xml(text) : read_yaml(text);
  } catch (const YAML::Exception& error) {
    throw std::runtime_error(file + ": is no OpenCV calibration file (" + error.what() + ")");
  }
  if (read.camera_matrix.size() != 9)
    throw std::runtime_error(file + ": holds no 3 x 3 camera_matrix; write it with OpenCV's calibration");
  if (!is_side(read.image_width) || !is_side(read.image_height))
    throw std::runtime_error(
        file + ": image_width and image_height are missing; add the size of the calibration pictures");
  Camera camera;
  camera.width_px = static_cast<int>(read.image_width);
  camera.height_px = static_cast<int>(read.image_height);
  camera.fx_px = read.camera_matrix[0];
  camera.fy_px = read.camera_matrix[4];
  camera.cx_px = read.camera_matrix[2];
  camera.cy_px = read.camera_matrix[5];
  if (read.fisheye) camera.projection = Projection::equidistant;
  double* const brown[] = {&camera.k1, &camera.k2, &camera.p1, &camera.p2, &camera.k3};
  double* const fisheye[] = {&camera.k1, &camera.k2, &camera.k3};
  const std::span<double* const> terms = read.fisheye ? std::span<double* const>(fisheye) : brown;
  for (std::size_t i = 0; i < terms.size() && i < read.distortion.size(); ++i) *terms[i] = read.distortion[i];
  if (!can_be_computed_with(camera))
    throw std::runtime_error(file + ": its focal lengths must be above zero and all its numbers finite");
  if (read.fisheye && read.distortion.size() > 3 && read.distortion[3] != 0)
    take_fourth_term(read.distortion[3], file, camera);
  camera.focal_from = camera.distortion_from = "calibration file";
  camera.focal_sigma_share = 0.002;
  return camera;
}

}  // namespace lookdown::inspect
