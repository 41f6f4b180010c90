#include "cli/library_versions.h"

#include <ceres/version.h>
#include <fmt/core.h>
#include <gdal.h>
#include <lcms2.h>
#include <lensfun/lensfun.h>
#include <libnova/utility.h>
#include <spdlog/version.h>
#include <tbb/version.h>
#include <xxhash.h>
// jpeglib.h needs FILE declared before it.
#include <jpeglib.h>
#include <cstdio>

#include <CLI/Version.hpp>
#include <Eigen/Core>
#include <exiv2/version.hpp>
#include <nlohmann/detail/abi_macros.hpp>
#include <opencv2/core/utility.hpp>
#ifdef LOOKDOWN_WITH_HEIF
#include <libheif/heif.h>
#endif
#ifdef LOOKDOWN_WITH_RAW
#include <libraw.h>
#endif

#include "cli/version.h"

#define LOOKDOWN_TEXT(token) #token
#define LOOKDOWN_TEXT_OF(macro) LOOKDOWN_TEXT(macro)

namespace lookdown::cli {
namespace {

constexpr const char* kNotBuiltIn = "not built in";

std::string heif_version() {
#ifdef LOOKDOWN_WITH_HEIF
  return heif_get_version();
#else
  return kNotBuiltIn;
#endif
}

std::string raw_version() {
#ifdef LOOKDOWN_WITH_RAW
  return LibRaw::version();
#else
  return kNotBuiltIn;
#endif
}

std::string three_parts(int packed, int first, int second) {
  return fmt::format("{}.{}.{}", packed / first, packed / second % (first / second), packed % second);
}

}  // namespace

std::string version_text() {
  std::string text = fmt::format("lookdown {}\n", kVersion);
  const auto add = [&](const char* library, const std::string& version) {
    text += fmt::format("  {:<14} {}\n", library, version);
  };
  add("OpenCV", cv::getVersionString());
  add("Eigen", fmt::format("{}.{}.{}", EIGEN_WORLD_VERSION, EIGEN_MAJOR_VERSION, EIGEN_MINOR_VERSION));
  add("Ceres Solver", CERES_VERSION_STRING);
  add("oneTBB", TBB_VERSION_STRING);
  add("GDAL", GDALVersionInfo("RELEASE_NAME"));
  add("exiv2", Exiv2::versionString());
  add("lensfun", fmt::format("{}.{}.{}", LF_VERSION_MAJOR, LF_VERSION_MINOR, LF_VERSION_MICRO));
  add("Little CMS", three_parts(cmsGetEncodedCMMversion(), 1000, 10));
  add("libjpeg-turbo", LOOKDOWN_TEXT_OF(LIBJPEG_TURBO_VERSION));
  add("LibRaw", raw_version());
  add("libheif", heif_version());
  add("libnova", ln_get_version());
  add("xxHash", three_parts(static_cast<int>(XXH_versionNumber()), 10000, 100));
  add("CLI11", CLI11_VERSION);
  add("nlohmann json", fmt::format("{}.{}.{}", NLOHMANN_JSON_VERSION_MAJOR, NLOHMANN_JSON_VERSION_MINOR,
                                   NLOHMANN_JSON_VERSION_PATCH));
  add("fmt", three_parts(FMT_VERSION, 10000, 100));
  add("spdlog", fmt::format("{}.{}.{}", SPDLOG_VER_MAJOR, SPDLOG_VER_MINOR, SPDLOG_VER_PATCH));
  text.pop_back();
  return text;
}

}  // namespace lookdown::cli
