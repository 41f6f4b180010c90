// What pictures made from frames say about themselves: program, source frames, processing, and the author and
// copyright of the source. Names after Exif 2.32 (CIPA DC-008) and the XMP specification (ISO 16684-1: xmp,
// dc, xmpMM).
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace lookdown {

/// Author and copyright as the sources state them; several different ones are joined by "; ".
struct Attribution {
  std::string artist, copyright;
};

struct Derivation {
  std::string processing;           ///< what was done, e.g. "levelled: turned by 3.2 degrees"
  std::vector<std::string> frames;  ///< names of the source frames
  Attribution attribution;
};

/// Program and version as metadata name them, e.g. "lookdown 0.1.0".
[[nodiscard]] std::string software_name();

/// Reads author and copyright of the files; what cannot be read has none.
[[nodiscard]] Attribution attribution_of(const std::vector<std::filesystem::path>& files);

/// One sentence for an image description: processing and source frames, at most a few of them by name.
[[nodiscard]] std::string description_of(const Derivation&);

/// The same as TIFF tags by GDAL's names (TIFFTAG_SOFTWARE, ...), to be set before pixels are written.
[[nodiscard]] std::vector<std::pair<std::string, std::string>> tiff_tags(const Derivation&);

/// Bytes of a JPEG, PNG or TIFF picture as encoded, with the derivation written into Exif and XMP. Returns
/// the picture unchanged when it cannot be written to.
[[nodiscard]] std::vector<std::uint8_t> with_derivation(std::vector<std::uint8_t> picture, const Derivation&);

/// The same for a picture that shows one frame: with the metadata of the file `original`, orientation set to
/// upright, pixel dimensions to the new size, colour space to sRGB, which copies are in, and the thumbnail
/// dropped because it shows the picture before. What belongs to the inside of a camera raw file stays out.
/// `derivation` adds what was done.
[[nodiscard]] std::vector<std::uint8_t> with_metadata_of(const std::filesystem::path& original,
                                                         std::vector<std::uint8_t> picture, int width_px,
                                                         int height_px, const Derivation& derivation);

}  // namespace lookdown
