#include "picture_files.h"

#include <fmt/format.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

namespace render {

void write_frame(const std::filesystem::path& path, const cv::Mat& picture, const Camera& camera,
                 const FramePlan& frame, const PlaceAndTime& start) {
  std::vector<uint8_t> bytes;
  if (!cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, frame.quality}))
    throw std::runtime_error("cannot encode " + path.string());
  auto image = Exiv2::ImageFactory::open(bytes.data(), static_cast<long>(bytes.size()));
  Exiv2::ExifData exif;
  const std::string taken = local_time(start, frame.time_s, ':', ' ');
  const int offset = static_cast<int>(std::lround(start.utc_offset_h * 60));
  const std::string zone =
      fmt::format("{}{:02}:{:02}", offset < 0 ? '-' : '+', std::abs(offset) / 60, std::abs(offset) % 60);
  exif["Exif.Image.Make"] = "Lantern Works";
  exif["Exif.Image.Model"] = "Skylark 18";
  exif["Exif.Image.Orientation"] = static_cast<uint16_t>(frame.orientation);
  exif["Exif.Image.DateTime"] = taken;
  exif["Exif.Photo.DateTimeOriginal"] = taken;
  exif["Exif.Photo.DateTimeDigitized"] = taken;
  exif["Exif.Photo.SubSecTimeOriginal"] =
      fmt::format("{:02}", static_cast<int>(subsecond(start, frame.time_s) * 100));
  exif["Exif.Photo.OffsetTimeOriginal"] = zone;
  exif["Exif.Photo.FocalLength"] = Exiv2::Rational(static_cast<int>(std::lround(camera.focal_mm * 100)), 100);
  exif["Exif.Photo.FocalLengthIn35mmFilm"] = static_cast<uint16_t>(std::lround(camera.focal_35mm));
  exif["Exif.Photo.ExposureTime"] = Exiv2::Rational(1, static_cast<int>(std::lround(1 / frame.exposure_s())));
  exif["Exif.Photo.FNumber"] = Exiv2::Rational(static_cast<int>(std::lround(frame.f_number * 10)), 10);
  exif["Exif.Photo.ISOSpeedRatings"] = static_cast<uint16_t>(frame.iso);
  exif["Exif.Photo.PixelXDimension"] = static_cast<uint32_t>(picture.cols);
  exif["Exif.Photo.PixelYDimension"] = static_cast<uint32_t>(picture.rows);
  image->setExifData(exif);
  image->writeMetadata();
  Exiv2::BasicIo& io = image->io();
  io.seek(0, Exiv2::BasicIo::beg);
  const Exiv2::DataBuf whole = io.read(static_cast<long>(io.size()));
  Exiv2::FileIo out(path.string());
  if (out.open("wb") != 0) throw std::runtime_error("cannot write " + path.string());
  out.write(whole.pData_, whole.size_);
  out.close();
}

}  // namespace render
