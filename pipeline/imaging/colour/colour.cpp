#include "pipeline/imaging/colour/colour.h"

#include <lcms2.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <cstring>
#include <exiv2/exiv2.hpp>
#include <map>
#include <memory>
#include <mutex>
#include <string>

namespace lookdown {
namespace {

struct ProfileCloser {
  void operator()(void* profile) const { cmsCloseProfile(profile); }
};
using Profile = std::unique_ptr<void, ProfileCloser>;
struct TransformCloser {
  void operator()(void* transform) const { cmsDeleteTransform(transform); }
};
using Transform = std::unique_ptr<void, TransformCloser>;
struct CurveFreer {
  void operator()(cmsToneCurve* curve) const { cmsFreeToneCurve(curve); }
};

// Without the one-pixel cache a transform may be used from several threads at once (Little CMS,
// cmsFLAGS_NOCACHE).
Transform make_transform(cmsHPROFILE from, cmsUInt32Number layout) {
  const Profile working(cmsCreate_sRGBProfile());
  return Transform(cmsCreateTransform(from, layout, working.get(), layout, INTENT_RELATIVE_COLORIMETRIC,
                                      cmsFLAGS_NOCACHE));
}

struct Conversion {
  Transform eight, sixteen;  ///< both empty: the numbers mean sRGB already
};

// A grid over the cube of colours tells more than a profile's name: many files carry one of a dozen variants
// of sRGB.
bool changes_colours(cmsHTRANSFORM sixteen) {
  constexpr int kSteps = 6;
  std::vector<std::array<std::uint16_t, 3>> before;
  for (int b = 0; b < kSteps; ++b)
    for (int g = 0; g < kSteps; ++g)
      for (int r = 0; r < kSteps; ++r) {
        const auto level = [](int step) { return static_cast<std::uint16_t>(65535 * step / (kSteps - 1)); };
        before.push_back({level(b), level(g), level(r)});
      }
  auto after = before;
  cmsDoTransform(sixteen, before.data(), after.data(), static_cast<cmsUInt32Number>(before.size()));
  for (std::size_t i = 0; i < before.size(); ++i)
    for (std::size_t channel = 0; channel < 3; ++channel)
      if (std::abs(before[i][channel] - after[i][channel]) >= 257) return true;
  return false;
}

Conversion make_conversion(std::span<const std::uint8_t> icc) {
  const Profile profile(cmsOpenProfileFromMem(icc.data(), static_cast<cmsUInt32Number>(icc.size())));
  if (!profile || cmsGetColorSpace(profile.get()) != cmsSigRgbData) return {};
  Conversion conversion{make_transform(profile.get(), TYPE_BGR_8),
                        make_transform(profile.get(), TYPE_BGR_16)};
  if (!conversion.eight || !conversion.sixteen || !changes_colours(conversion.sixteen.get())) return {};
  return conversion;
}

std::shared_ptr<const Conversion> conversion_for(std::span<const std::uint8_t> icc) {
  static std::mutex one_at_a_time;
  static std::map<std::string, std::shared_ptr<const Conversion>> known;
  constexpr std::size_t kMostKept = 16;  // a card of a thousand forged profiles must not fill the memory
  const std::lock_guard lock(one_at_a_time);
  const std::string key(reinterpret_cast<const char*>(icc.data()), icc.size());
  if (const auto found = known.find(key); found != known.end()) return found->second;
  if (known.size() >= kMostKept) known.clear();
  return known[key] = std::make_shared<const Conversion>(make_conversion(icc));
}

std::vector<std::uint8_t> saved_profile(const cmsCIExyYTRIPLE& primaries, cmsToneCurve* curve) {
  const std::unique_ptr<cmsToneCurve, CurveFreer> owned(curve);
  const cmsCIExyY d65{0.3127, 0.3290, 1.0};
  cmsToneCurve* const curves[] = {curve, curve, curve};
  const Profile profile(cmsCreateRGBProfile(&d65, &primaries, curves));
  cmsUInt32Number size = 0;
  cmsSaveProfileToMem(profile.get(), nullptr, &size);
  std::vector<std::uint8_t> bytes(size);
  cmsSaveProfileToMem(profile.get(), bytes.data(), &size);
  return bytes;
}

}  // namespace

// Adobe RGB (1998) Color Image Encoding, version 2005-05, section 4.3: chromaticities and a gamma of 2 +
// 51/256.
std::vector<std::uint8_t> adobe_rgb_profile() {
  return saved_profile({{0.6400, 0.3300, 1}, {0.2100, 0.7100, 1}, {0.1500, 0.0600, 1}},
                       cmsBuildGamma(nullptr, 2.19921875));
}

std::vector<std::uint8_t> display_p3_profile() {
  // The curve of IEC 61966-2-1 in Little CMS's parametric type 4: gamma, a, b, c, d.
  const double srgb_curve[] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
  return saved_profile({{0.680, 0.320, 1}, {0.265, 0.690, 1}, {0.150, 0.060, 1}},
                       cmsBuildParametricToneCurve(nullptr, 4, srgb_curve));
}

bool exif_names_adobe_rgb(std::span<const std::uint8_t> exif) {
  constexpr std::array<std::uint8_t, 6> kJpegPrefix{'E', 'x', 'i', 'f', 0, 0};
  if (exif.size() > kJpegPrefix.size() && std::equal(kJpegPrefix.begin(), kJpegPrefix.end(), exif.begin()))
    exif = exif.subspan(kJpegPrefix.size());
  try {
    Exiv2::ExifData tags;
    Exiv2::ExifParser::decode(tags, exif.data(), static_cast<std::uint32_t>(exif.size()));
    const auto index = tags.findKey(Exiv2::ExifKey("Exif.Iop.InteroperabilityIndex"));
    if (index != tags.end() && index->toString().starts_with("R03")) return true;
    const auto space = tags.findKey(Exiv2::ExifKey("Exif.Photo.ColorSpace"));
    return space != tags.end() && space->count() > 0 && space->toLong() == 2;
  } catch (const Exiv2::AnyError&) {
    return false;
  }
}

void to_working_space(cv::Mat& bgr, std::span<const std::uint8_t> icc_profile) {
  if (icc_profile.empty() || bgr.empty()) return;
  const auto conversion = conversion_for(icc_profile);
  const Transform& transform = bgr.depth() == CV_16U ? conversion->sixteen : conversion->eight;
  if (!transform) return;
  const auto stride = static_cast<cmsUInt32Number>(bgr.step[0]);
  cmsDoTransformLineStride(transform.get(), bgr.data, bgr.data, static_cast<cmsUInt32Number>(bgr.cols),
                           static_cast<cmsUInt32Number>(bgr.rows), stride, stride, 0, 0);
}

}  // namespace lookdown
