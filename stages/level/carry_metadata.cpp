#include "stages/level/carry_metadata.h"

#include <exiv2/exiv2.hpp>
#include <mutex>

namespace lookdown::level {

std::vector<std::uint8_t> with_metadata_of(const std::filesystem::path& original,
                                           std::vector<std::uint8_t> picture, int width_px, int height_px) {
  // Exiv2's XMP toolkit keeps global state.
  static std::mutex one_at_a_time;
  const std::lock_guard lock(one_at_a_time);
  try {
    const auto source = Exiv2::ImageFactory::open(original.string());
    source->readMetadata();
    const auto target = Exiv2::ImageFactory::open(picture.data(), static_cast<long>(picture.size()));
    target->readMetadata();

    Exiv2::ExifData exif = source->exifData();
    if (!exif.empty()) {
      Exiv2::ExifThumb(exif).erase();
      exif["Exif.Image.Orientation"] = std::uint16_t{1};
      exif["Exif.Photo.PixelXDimension"] = static_cast<std::uint32_t>(width_px);
      exif["Exif.Photo.PixelYDimension"] = static_cast<std::uint32_t>(height_px);
      exif["Exif.Photo.ColorSpace"] = std::uint16_t{1};  // the reader has brought the colours to sRGB
      for (const char* stale : {"Exif.Image.ImageWidth", "Exif.Image.ImageLength", "Exif.Iop.InteroperabilityIndex"})
        if (const auto found = exif.findKey(Exiv2::ExifKey(stale)); found != exif.end()) exif.erase(found);
      target->setExifData(exif);
    }
    Exiv2::XmpData xmp = source->xmpData();
    if (const auto found = xmp.findKey(Exiv2::XmpKey("Xmp.tiff.Orientation")); found != xmp.end())
      found->setValue("1");
    if (!xmp.empty()) target->setXmpData(xmp);
    if (!source->iptcData().empty()) target->setIptcData(source->iptcData());
    target->writeMetadata();
    Exiv2::BasicIo& io = target->io();
    std::vector<std::uint8_t> bytes(io.size());
    io.open();
    io.read(bytes.data(), static_cast<long>(bytes.size()));
    io.close();
    return bytes;
  } catch (const Exiv2::AnyError&) {
    return picture;
  }
}

}  // namespace lookdown::level
