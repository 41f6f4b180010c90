// Makes camera raw files, or 16-bit TIFF, of a flight rendered with --light: what its sensor would have
// written. raw_flight FLIGHT OUT [--tiff] [--noise FACTOR]
#include <fmt/core.h>

#include <array>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <regex>
#include <string>

#include "made_dng/made_dng.h"
#include "pipeline/imaging/colour/srgb.h"

namespace {

namespace fs = std::filesystem;

/// Sixteen bits of linear light to sRGB code values of the same or of eight.
cv::Mat coded(const cv::Mat& levels, int depth) {
  cv::Mat picture, out;
  levels.convertTo(picture, CV_32F, 1 / 65535.0);
  for (int row = 0; row < picture.rows; ++row)
    for (float* value = picture.ptr<float>(row); value != picture.ptr<float>(row) + 3 * picture.cols; ++value)
      *value = static_cast<float>(lookdown::srgb_from_light(*value));
  picture.convertTo(out, depth, depth == CV_16U ? 65535 : 255);
  return out;
}

/// Shot and read noise of a sensor that holds 9000 electrons a pixel (that of the renderer's camera).
void add_noise(cv::Mat& light, double factor, std::size_t seed) {
  constexpr double kFullWell = 9000, kRead = 3.5;
  cv::RNG random(seed);
  for (int row = 0; row < light.rows; ++row)
    for (double* value = light.ptr<double>(row); value != light.ptr<double>(row) + 3 * light.cols; ++value) {
      const double electrons = *value * kFullWell;
      *value = std::max(0.0, electrons + factor * random.gaussian(std::sqrt(electrons + kRead * kRead))) /
               kFullWell;
    }
}

void write_frame(const fs::path& flight, const fs::path& out, const std::string& stem, std::size_t number,
                 bool tiff, double noise) {
  const cv::Mat levels = cv::imread((flight / "light" / (stem + ".png")).string(), cv::IMREAD_UNCHANGED);
  const auto jpeg = Exiv2::ImageFactory::open((flight / (stem + ".jpg")).string());
  jpeg->readMetadata();
  Exiv2::ExifData& exif = jpeg->exifData();
  if (tiff) {
    const std::string file = (out / (stem + ".tif")).string();
    cv::imwrite(file, coded(levels, CV_16U));
    const auto picture = Exiv2::ImageFactory::open(file);
    picture->readMetadata();
    for (const char* key :
         {"Exif.Photo.DateTimeOriginal", "Exif.Photo.FocalLength", "Exif.Photo.FocalLengthIn35mmFilm",
          "Exif.Photo.ExposureTime", "Exif.Photo.FNumber", "Exif.Photo.ISOSpeedRatings", "Exif.Image.Make",
          "Exif.Image.Model"})
      picture->exifData()[key] = exif[key];
    picture->writeMetadata();
    return;
  }
  constexpr std::array<const char*, 3> kPatterns{"RGGB", "GRBG", "BGGR"};
  lookdown::MadeDng made;
  levels.convertTo(made.linear_bgr, CV_64F, 1 / 65535.0);
  add_noise(made.linear_bgr, noise, number + 1);
  made.taken_at = exif["Exif.Photo.DateTimeOriginal"].toString();
  made.orientation = static_cast<int>(exif["Exif.Image.Orientation"].toLong());
  made.pattern = kPatterns[number % kPatterns.size()];
  made.black = {512, 520, 508, 516};
  made.masked_columns = 16;
  made.masked_rows = 8;
  made.focal_mm = exif["Exif.Photo.FocalLength"].toFloat();
  made.focal_35mm = exif["Exif.Photo.FocalLengthIn35mmFilm"].toFloat();
  made.exposure_s = exif["Exif.Photo.ExposureTime"].toFloat();
  made.f_number = exif["Exif.Photo.FNumber"].toFloat();
  made.iso = exif["Exif.Photo.ISOSpeedRatings"].toFloat();
  lookdown::write_dng(out / (stem + ".dng"), made);
}

int run(int argc, char** argv) {
  if (argc < 3) {
    fmt::print("usage: raw_flight FLIGHT OUT [--tiff] [--noise FACTOR]\n");
    return 2;
  }
  const fs::path flight = argv[1], out = argv[2];
  bool tiff = false;
  double noise = 1;
  for (int i = 3; i < argc; ++i) {
    if (std::string(argv[i]) == "--tiff") tiff = true;
    if (std::string(argv[i]) == "--noise") noise = std::stod(argv[++i]);
  }
  nlohmann::json truth;
  std::ifstream(flight / "truth.json") >> truth;
  fs::create_directories(out / "truth");
  for (std::size_t i = 0; i < truth["frames"].size(); ++i) {
    const std::string stem = fs::path(truth["frames"][i]["file"].get<std::string>()).stem().string();
    write_frame(flight, out, stem, i, tiff, noise);
    truth["frames"][i]["file"] = stem + (tiff ? ".tif" : ".dng");
  }
  const cv::Mat ground = cv::imread((flight / "light" / "ground.png").string(), cv::IMREAD_UNCHANGED);
  if (!ground.empty()) cv::imwrite((out / "truth" / "ground.png").string(), coded(ground, CV_8U));
  std::ofstream(out / "truth.json") << truth.dump(1);
  for (const char* table : {"control.csv", "marks.csv"}) {
    std::ifstream from(flight / table);
    const std::string rows((std::istreambuf_iterator<char>(from)), {});
    std::ofstream(out / table) << std::regex_replace(rows, std::regex("\\.jpg"), tiff ? ".tif" : ".dng");
  }
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::exception& error) {
    fmt::print(stderr, "raw_flight: {}\n", error.what());
    return 1;
  }
}
