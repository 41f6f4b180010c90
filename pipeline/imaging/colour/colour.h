// Colour as files mean it, brought to the working space. The working space is sRGB (IEC 61966-2-1): every
// stage takes pixels to be in it, and every picture that is written is in it. Private to pipeline/.
#pragma once

#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <span>
#include <vector>

namespace lookdown {

/// ICC profile of Adobe RGB (1998) made from its definition, for files that name it in Exif without carrying
/// a profile.
[[nodiscard]] std::vector<std::uint8_t> adobe_rgb_profile();

/// ICC profile of Display P3 (SMPTE RP 431 primaries, white D65, the sRGB curve), which HEIF files name by
/// number.
[[nodiscard]] std::vector<std::uint8_t> display_p3_profile();

/// True when an Exif block (the bytes of a JPEG's APP1 segment, or the TIFF structure alone) names Adobe RGB:
/// interoperability index R03 (DCF 2.0) or the colour space number 2 that some makers write.
[[nodiscard]] bool exif_names_adobe_rgb(std::span<const std::uint8_t> exif);

/// Turns BGR pixels (CV_8UC3 or CV_16UC3) from the colours of an ICC profile into the working space, relative
/// colorimetric. Does nothing when the profile is empty, damaged, not for RGB, or differs from sRGB by less
/// than one step of 8 bits. Thread-safe; a flight's transform is made once.
void to_working_space(cv::Mat& bgr, std::span<const std::uint8_t> icc_profile);

}  // namespace lookdown
