#include "pipeline/imaging/metadata/derived_metadata.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <exiv2/exiv2.hpp>
#include <set>

#include "pipeline/imaging/metadata/exiv2_lock.h"

namespace lookdown {
namespace {

std::string trimmed(std::string text) {
  text.erase(std::find(text.begin(), text.end(), '\0'), text.end());
  const auto first = text.find_first_not_of(" \t\r\n"), last = text.find_last_not_of(" \t\r\n");
  return first == std::string::npos ? "" : text.substr(first, last - first + 1);
}

void add_distinct(std::vector<std::string>& known, const Exiv2::ExifData& exif, const char* key) {
  const auto found = exif.findKey(Exiv2::ExifKey(key));
  if (found == exif.end()) return;
  const std::string text = trimmed(found->toString());
  if (!text.empty() && std::find(known.begin(), known.end(), text) == known.end()) known.push_back(text);
}

void erase(Exiv2::ExifData& exif, const char* key) {
  if (const auto found = exif.findKey(Exiv2::ExifKey(key)); found != exif.end()) exif.erase(found);
}

void state(Exiv2::ExifData& exif, Exiv2::XmpData& xmp, const Derivation& derivation) {
  exif["Exif.Image.Software"] = software_name();
  exif["Exif.Image.ImageDescription"] = description_of(derivation);
  if (!derivation.attribution.artist.empty()) exif["Exif.Image.Artist"] = derivation.attribution.artist;
  if (!derivation.attribution.copyright.empty())
    exif["Exif.Image.Copyright"] = derivation.attribution.copyright;
  xmp["Xmp.xmp.CreatorTool"] = software_name();
  Exiv2::XmpTextValue event("");
  event.setXmpArrayType(Exiv2::XmpValue::xaSeq);
  xmp.add(Exiv2::XmpKey("Xmp.xmpMM.History"), &event);
  xmp["Xmp.xmpMM.History[1]/stEvt:action"] = "derived";
  xmp["Xmp.xmpMM.History[1]/stEvt:softwareAgent"] = software_name();
  xmp["Xmp.xmpMM.History[1]/stEvt:parameters"] = derivation.processing;
  if (!derivation.frames.empty())
    xmp["Xmp.dc.source"] = fmt::format("{}", fmt::join(derivation.frames, "; "));
}

std::vector<std::uint8_t> written(Exiv2::Image& picture) {
  picture.writeMetadata();
  Exiv2::BasicIo& io = picture.io();
  std::vector<std::uint8_t> bytes(io.size());
  io.open();
  io.read(bytes.data(), static_cast<long>(bytes.size()));
  io.close();
  return bytes;
}

// Of a raw file only what is about the shot: its other tags say where in the file the sensor's values lie.
Exiv2::ExifData about_the_shot(const Exiv2::ExifData& all) {
  static const std::set<std::string> kKept{
      "Make", "Model", "Artist", "Copyright", "DateTime", "ImageDescription", "Orientation"};
  Exiv2::ExifData kept;
  for (const Exiv2::Exifdatum& tag : all) {
    const std::string group = tag.groupName();
    const bool shot =
        group == "Photo" || group == "GPSInfo" || (group == "Image" && kKept.contains(tag.tagName()));
    if (shot && tag.tagName() != "MakerNote") kept.add(tag);
  }
  return kept;
}

bool is_plain_picture(const Exiv2::Image& picture) {
  const auto type = picture.imageType();
  return type == Exiv2::ImageType::jpeg || type == Exiv2::ImageType::png;
}

Exiv2::ExifData carried_exif(const Exiv2::Image& source, int width_px, int height_px) {
  Exiv2::ExifData exif = is_plain_picture(source) ? source.exifData() : about_the_shot(source.exifData());
  if (exif.empty()) return exif;
  Exiv2::ExifThumb(exif).erase();
  exif["Exif.Image.Orientation"] = std::uint16_t{1};
  exif["Exif.Photo.PixelXDimension"] = static_cast<std::uint32_t>(width_px);
  exif["Exif.Photo.PixelYDimension"] = static_cast<std::uint32_t>(height_px);
  exif["Exif.Photo.ColorSpace"] = std::uint16_t{1};
  for (const char* stale :
       {"Exif.Image.ImageWidth", "Exif.Image.ImageLength", "Exif.Iop.InteroperabilityIndex"})
    erase(exif, stale);
  return exif;
}

}  // namespace

std::string software_name() {
  return "lookdown " LOOKDOWN_VERSION;
}

Attribution attribution_of(const std::vector<std::filesystem::path>& files) {
  const auto lock = exiv2_lock();
  std::vector<std::string> artists, copyrights;
  for (const std::filesystem::path& file : files) {
    try {
      const auto picture = Exiv2::ImageFactory::open(file.string());
      picture->readMetadata();
      add_distinct(artists, picture->exifData(), "Exif.Image.Artist");
      add_distinct(copyrights, picture->exifData(), "Exif.Image.Copyright");
    } catch (const Exiv2::AnyError&) {
      continue;  // without metadata it states nothing
    }
  }
  return {fmt::format("{}", fmt::join(artists, "; ")), fmt::format("{}", fmt::join(copyrights, "; "))};
}

std::string description_of(const Derivation& derivation) {
  constexpr std::size_t kNamed = 3;
  std::string text = derivation.processing;
  if (derivation.frames.empty()) return text;
  const std::size_t named = std::min(kNamed, derivation.frames.size());
  text += fmt::format("; from {}", fmt::join(derivation.frames.begin(),
                                             derivation.frames.begin() + static_cast<long>(named), ", "));
  if (derivation.frames.size() > named) text += fmt::format(" and {} more", derivation.frames.size() - named);
  return text;
}

std::vector<std::pair<std::string, std::string>> tiff_tags(const Derivation& derivation) {
  std::vector<std::pair<std::string, std::string>> tags{
      {"TIFFTAG_SOFTWARE", software_name()}, {"TIFFTAG_IMAGEDESCRIPTION", description_of(derivation)}};
  if (!derivation.attribution.artist.empty())
    tags.emplace_back("TIFFTAG_ARTIST", derivation.attribution.artist);
  if (!derivation.attribution.copyright.empty())
    tags.emplace_back("TIFFTAG_COPYRIGHT", derivation.attribution.copyright);
  return tags;
}

std::vector<std::uint8_t> with_derivation(std::vector<std::uint8_t> picture, const Derivation& derivation) {
  const auto lock = exiv2_lock();
  try {
    const auto target = Exiv2::ImageFactory::open(picture.data(), static_cast<long>(picture.size()));
    target->readMetadata();
    state(target->exifData(), target->xmpData(), derivation);
    return written(*target);
  } catch (const Exiv2::AnyError&) {
    return picture;
  }
}

std::vector<std::uint8_t> with_metadata_of(const std::filesystem::path& original,
                                           std::vector<std::uint8_t> picture, int width_px, int height_px,
                                           const Derivation& derivation) {
  {
    const auto lock = exiv2_lock();
    try {
      const auto source = Exiv2::ImageFactory::open(original.string());
      source->readMetadata();
      const auto target = Exiv2::ImageFactory::open(picture.data(), static_cast<long>(picture.size()));
      target->readMetadata();
      // Into what the encoder wrote about its own file, which a TIFF needs.
      for (const Exiv2::Exifdatum& tag : carried_exif(*source, width_px, height_px))
        target->exifData()[tag.key()] = tag.value();
      Exiv2::XmpData xmp = source->xmpData();
      if (const auto found = xmp.findKey(Exiv2::XmpKey("Xmp.tiff.Orientation")); found != xmp.end())
        found->setValue("1");
      target->setXmpData(xmp);
      if (!source->iptcData().empty()) target->setIptcData(source->iptcData());
      const std::string before = target->exifData()["Exif.Image.ImageDescription"].toString();
      state(target->exifData(), target->xmpData(), derivation);
      if (!trimmed(before).empty()) target->exifData()["Exif.Image.ImageDescription"] = before;
      return written(*target);
    } catch (const Exiv2::AnyError&) {
      // The original's metadata cannot be read; what was done can still be said.
    }
  }
  return with_derivation(std::move(picture), derivation);
}

}  // namespace lookdown
