// A picture file as found on the card: where it is, how large, how to turn it. No pixels.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

namespace lookdown {

/// One input file as found on the card.
struct FrameSource {
  std::string
      file;  ///< name in every table: path below the common input folder, '/' separated, unique in the flight
  std::string
      stem;  ///< unique name for files made from this frame: `file` without its ending where that is unique
  std::filesystem::path path;  ///< where to open it
  std::string content_hash;    ///< XXH3-128 of the file's bytes, hexadecimal
  std::uint64_t size_bytes = 0;
  int width_px = 0;  ///< as stored
  int height_px = 0;
  int orientation = 1;  ///< Exif orientation 1..8 (CIPA DC-008): how to turn the stored frame for display
  std::string format;   ///< "JPEG", "PNG", "TIFF", "HEIF", "AVIF" or "RAW"
  std::string twin_file =
      {};  ///< the JPEG of the same shot when `file` is the camera raw, or the other way round; empty: none
};

}  // namespace lookdown
