#include "tests/unit/report/made_flight.h"

#include <fmt/format.h>

#include <gdal_priv.h>

#include <cmath>
#include <fstream>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/core/eigen.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "pipeline/base/files/cache.h"

namespace lookdown::test {
namespace {

constexpr double kGsd_m = 0.05;
constexpr int kGroundWidth_px = 2400;
constexpr int kGroundHeight_px = 1600;
constexpr double kHeight_m = 30;
constexpr int kUncovered_px = 60;

/// Reed beds, three ponds and a path: enough to see whether drawings sit where they should.
cv::Mat made_ground() {
  cv::RNG random(7);
  cv::Mat ground(kGroundHeight_px, kGroundWidth_px, CV_8UC3, cv::Scalar(96, 138, 122));
  for (const int cell_px : {160, 40, 10, 3}) {
    cv::Mat noise(kGroundHeight_px / cell_px + 1, kGroundWidth_px / cell_px + 1, CV_8UC3), large;
    random.fill(noise, cv::RNG::UNIFORM, 90, 166);
    cv::resize(noise, large, ground.size(), 0, 0, cv::INTER_CUBIC);
    cv::addWeighted(ground, 1.0, large, 0.35, -0.35 * 128, ground);
  }
  const std::array<cv::Scalar, 3> water{cv::Scalar(92, 84, 40), cv::Scalar(60, 92, 88),
                                        cv::Scalar(110, 104, 70)};
  for (int pond = 0; pond < 3; ++pond) {
    cv::rectangle(ground, {250 + 680 * pond, 480, 520, 560}, {150, 170, 175}, 26);
    cv::rectangle(ground, {250 + 680 * pond, 480, 520, 560}, water[pond], cv::FILLED);
  }
  cv::line(ground, {60, 1250}, {2340, 1180}, {170, 196, 206}, 34);
  for (int plank = 0; plank < 114; ++plank) {
    const int x = 60 + 20 * plank;
    cv::line(ground, {x, 1235 - plank / 2}, {x, 1265 - plank / 2}, {110, 130, 140}, 3);
  }
  return ground;
}

Homography<MosaicPx, Ground> mosaic_from_ground() {
  Homography<MosaicPx, Ground> h;
  h.matrix << 1 / kGsd_m, 0, -0.5, 0, -1 / kGsd_m, kGroundHeight_px - 0.5, 0, 0, 1;
  return h;
}

void take_shot_facts(FrameRecord& frame, int index, int width_px, int height_px) {
  frame.info.make = "Example";
  frame.info.model = "Example K1";
  frame.info.focal_length_mm = 8.8;
  frame.info.taken_at_s = 1936000800.0 + 4 * index;
  const int second = 4 * index;
  frame.info.taken_at = fmt::format("2031-05-08T10:{:02d}:{:02d}", (second / 60) % 60, second % 60);
  frame.info.exposure_s = 1.0 / (800 + 50 * (index % 7));
  frame.info.f_number = 4;
  frame.info.iso = 200;
  Camera& camera = frame.info.camera;
  camera.width_px = width_px;
  camera.height_px = height_px;
  camera.fx_px = camera.fy_px = 0.8 * width_px;
  camera.cx_px = (width_px - 1) / 2.0;
  camera.cy_px = (height_px - 1) / 2.0;
  camera.focal_from = "Exif 35 mm";
}

bool repeats_the_one_before(int index) {
  return index % 16 == 9;
}

/// Walks up and down the site with a little swing; now and then the kite hangs still.
Pose made_pose(int index, int count) {
  if (repeats_the_one_before(index)) {
    Pose pose = made_pose(index - 1, count);
    pose.centre += Eigen::Vector3d(1.2, -0.8, 0.3);
    return pose;
  }
  const int passes = 4;
  const double along = static_cast<double>(index) / std::max(1, count - 1) * passes;
  const int pass = std::min(passes - 1, static_cast<int>(along));
  const double part = along - pass;
  const double x = 20 + 80 * (pass % 2 ? 1 - part : part);
  const double y = 14 + 17.0 * pass;
  Pose pose = straight_down({x, y, kHeight_m + 4 * std::sin(index * 0.37)}, 0.4 * std::sin(index * 0.9));
  const double swing = 0.09 * std::sin(index * 1.3);
  Eigen::Matrix3d lean;
  lean << 1, 0, 0, 0, std::cos(swing), -std::sin(swing), 0, std::sin(swing), std::cos(swing);
  pose.world_from_camera = pose.world_from_camera * lean;
  return pose;
}

void place_frame(FrameRecord& frame, int index, int count) {
  FramePlacement& placement = frame.placement;
  placement.placed = true;
  placement.group = 0;
  placement.camera = frame.info.camera;
  placement.pose = made_pose(index, count);
  placement.mosaic_from_frame = mosaic_from_ground() * ground_from_frame(placement.pose, placement.camera);
  placement.rmse_px = 0.4 + 0.05 * (index % 9);
  placement.tie_points = 120 + index % 50;
  const Point2<UndistortedPx> middle{0.5 * placement.camera.width_px, 0.5 * placement.camera.height_px};
  placement.misfits.push_back(
      {placement.mosaic_from_frame * middle, 0.3 - 0.1 * (index % 7), 0.02 * (index % 5)});
  for (const int other : {index - 2, index - 1, index + 1, index + 2}) {
    if (other >= 0 && other < count) placement.neighbours.push_back(other);
  }
  Tilt tilt;
  const Eigen::Vector3d down = down_in_camera(placement.pose);
  tilt.down_in_camera = {down.x(), down.y(), down.z()};
  tilt.off_nadir_deg = off_nadir_deg(placement.pose);
  tilt.sigma_deg = 0.3;
  tilt.from = "placement";
  frame.tilt = tilt;
}

cv::Mat seen_by(const FrameRecord& frame, const cv::Mat& ground) {
  const Eigen::Matrix3d frame_from_mosaic = frame.placement.mosaic_from_frame.matrix.inverse();
  cv::Mat transform, picture;
  cv::eigen2cv(frame_from_mosaic, transform);
  cv::warpPerspective(ground, picture, transform, {frame.source.width_px, frame.source.height_px},
                      cv::INTER_LINEAR, cv::BORDER_REFLECT);
  return picture;
}

/// Blur, verdict and reasons by the frame's place in the row.
void judge(FrameRecord& frame, int index) {
  Sharpness sharpness;
  const bool blurred = index % 8 == 3;
  const bool smeared = index % 11 == 6;
  sharpness.blur_fwhm_px = blurred ? 4.5 + index % 5 : 1.6 + 0.08 * (index % 9);
  sharpness.blur_sigma_share = 0.1;
  sharpness.smear_px = smeared ? 6 + index % 8 : 0.4 + 0.1 * (index % 6);
  sharpness.smear_deg = (37 * index) % 180;
  sharpness.sharpness = std::min(1.0, 1.6 / *sharpness.blur_fwhm_px);
  sharpness.detail = 0.7;
  sharpness.clipped_high_share = 0.01 * (index % 3);
  sharpness.mean_level = 0.3 + 0.1 * std::sin(index * 0.2);
  sharpness.tile_columns = 6;
  sharpness.tile_rows = 4;
  for (int tile = 0; tile < 24; ++tile) {
    TileBlur blur{tile % 6, tile / 6, std::nullopt, 0.1};
    if (tile % 7 != 5)
      blur = {tile % 6, tile / 6, *sharpness.blur_fwhm_px * (0.9 + 0.01 * tile), 0.5 + 0.01 * tile};
    sharpness.tiles.push_back(blur);
  }
  frame.sharpness = sharpness;
  Decision& decision = frame.decision;
  decision.view = View::nadir;
  decision.verdict = Verdict::keep;
  if (smeared)
    decision.reasons.push_back({"smeared", sharpness.smear_px, 3.0, "px", Verdict::drop});
  else if (blurred)
    decision.reasons.push_back({"blurred", sharpness.blur_fwhm_px, 2.8, "px", Verdict::drop});
  else
    decision.reasons.push_back({"sharp", sharpness.blur_fwhm_px, 2.8, "px", Verdict::keep});
  for (const Reason& reason : decision.reasons)
    decision.verdict = std::max(decision.verdict, reason.asks_for);
}

void add_glare(FrameRecord& frame, int index, const std::filesystem::path& out) {
  cv::Mat mask = cv::Mat::zeros(frame.source.height_px, frame.source.width_px, CV_8UC1);
  cv::ellipse(mask, {mask.cols / 3, mask.rows / 2}, {mask.cols / 8, mask.rows / 6}, 20, 0, 360, 255,
              cv::FILLED);
  const std::string name = fmt::format("masks/{:03d}_glare.png", index);
  cv::imwrite((out / name).string(), mask);
  Glare glare;
  glare.water_share = 0.4;
  glare.glare_share = cv::countNonZero(mask) / static_cast<double>(mask.total());
  glare.readable_water_share = 0.8;
  glare.mask_file = name;
  cv::Mat water = cv::Mat::zeros(mask.size(), CV_8UC1);
  cv::ellipse(water, {mask.cols / 3, mask.rows / 2}, {mask.cols / 5, mask.rows / 4}, 20, 0, 360, 255,
              cv::FILLED);
  glare.water_mask_file = fmt::format("masks/{:03d}_water.png", index);
  cv::imwrite((out / glare.water_mask_file).string(), water);
  frame.glare = glare;
  frame.decision.verdict = std::max(frame.decision.verdict, Verdict::unsure);
  frame.decision.reasons.push_back({"glare", glare.glare_share, 0.05, "of the frame", Verdict::unsure});
}

void make_oblique(FrameRecord& frame) {
  frame.placement = {};
  frame.placement.why_not = "no overlap found";
  frame.tilt.reset();
  Horizon horizon;
  const double roll = 6 * kDegree;
  // The sky lies towards smaller y: the line's normal points there.
  horizon.line = {std::sin(roll), -std::cos(roll), 0};
  horizon.line[2] =
      -(horizon.line[0] * frame.source.width_px / 2.0 + horizon.line[1] * frame.source.height_px / 4.0);
  horizon.kind = "land";
  horizon.roll_deg = 6;
  horizon.roll_sigma_deg = 0.4;
  horizon.pitch_deg = -18;
  frame.horizon = horizon;
  frame.horizon_looked_for = true;
  frame.decision.view = View::horizon;
}

void blur_picture(const FrameRecord& frame, cv::Mat& picture) {
  if (*frame.sharpness->blur_fwhm_px > 2.8)
    cv::GaussianBlur(picture, picture, {}, *frame.sharpness->blur_fwhm_px / 2.355);
  if (*frame.sharpness->smear_px > 3) cv::blur(picture, picture, {cvRound(*frame.sharpness->smear_px), 1});
}

std::string name_of(int index) {
  return index == 5 ? kHostileName : fmt::format("R{:04d}.jpg", index + 1);
}

/// The ground as a mosaic that lies in local metres; nothing is covered in a strip at its right edge.
void write_mosaic(const cv::Mat& ground, const std::filesystem::path& file) {
  GDALAllRegister();
  cv::Mat rgba;
  cv::cvtColor(ground, rgba, cv::COLOR_BGR2RGBA);
  rgba.colRange(kGroundWidth_px - kUncovered_px, kGroundWidth_px).setTo(cv::Scalar::all(0));
  const char* const options[] = {"TILED=YES", "COMPRESS=DEFLATE", "PHOTOMETRIC=RGB",
                                 "ALPHA=NON-PREMULTIPLIED", nullptr};
  const GDALDatasetUniquePtr raster(GetGDALDriverManager()->GetDriverByName("GTiff")->Create(
      file.c_str(), rgba.cols, rgba.rows, 4, GDT_Byte, const_cast<char**>(options)));
  double transform[6] = {0, kGsd_m, 0, kGroundHeight_px * kGsd_m, 0, -kGsd_m};
  raster->SetGeoTransform(transform);
  if (raster->RasterIO(GF_Write, 0, 0, rgba.cols, rgba.rows, rgba.data, rgba.cols, rgba.rows, GDT_Byte, 4,
                       nullptr, 4, static_cast<GSpacing>(rgba.step[0]), 1, nullptr) != CE_None)
    throw std::runtime_error("the made-up mosaic cannot be written");
}

/// Which frame's middle lies nearest: what a mosaic's sources would look like.
void write_sources(const FlightRecord& record, const std::filesystem::path& file) {
  std::vector<cv::Point2d> middles;
  for (const FrameRecord& frame : record.frames) {
    if (!frame.placement.placed) continue;
    const auto p = mosaic_from_ground() *
                   Point2<Ground>{frame.placement.pose.centre.x(), frame.placement.pose.centre.y()};
    middles.emplace_back(p.x, p.y);
  }
  constexpr int kStep_px = 4;
  cv::Mat sources(kGroundHeight_px / kStep_px, kGroundWidth_px / kStep_px, CV_16UC1, cv::Scalar(65535));
  for (int row = 0; row < sources.rows; ++row) {
    for (int column = 0; column < sources.cols; ++column) {
      double nearest = 350;
      for (std::size_t i = 0; i < middles.size(); ++i) {
        const double distance = cv::norm(middles[i] - cv::Point2d(column * kStep_px, row * kStep_px));
        if (distance >= nearest) continue;
        nearest = distance;
        sources.at<std::uint16_t>(row, column) = static_cast<std::uint16_t>(i);
      }
    }
  }
  cv::imwrite(file.string(), sources);
}

/// Marks where the points are seen, a fraction of a pixel off; the second one 12 px off.
void write_marks(const FlightRecord& record, const std::filesystem::path& file) {
  std::ofstream table(file);
  table << "file,name,x_px,y_px\n";
  int count = 0;
  for (const ControlResidual& point : record.placement.accuracy.points) {
    int marks = 0;
    for (const FrameRecord& frame : record.frames) {
      if (!frame.placement.placed || frame.source.file == kHostileName || marks == 3) continue;
      const auto seen = frame.placement.camera.distort(
          project(frame.placement.pose, frame.placement.camera, {point.x, point.y, 0}));
      if (seen.x < 20 || seen.y < 20 || seen.x > frame.source.width_px - 20 ||
          seen.y > frame.source.height_px - 20)
        continue;
      ++marks;
      const double off_px = ++count == 2 ? 12 : 0.2 * (count % 3);
      table << fmt::format("{},{},{:.2f},{:.2f}\n", frame.source.file, point.name, seen.x + off_px, seen.y);
    }
  }
}

void add_control(FlightRecord& record) {
  Accuracy& accuracy = record.placement.accuracy;
  accuracy.tie_point_rmse_px = 0.62;
  accuracy.control_rmse_m = 0.03;
  accuracy.points = {{"T1", false, 15, 14, 0, 0.02, -0.03, 6, std::nullopt},
                     {"T2", false, 104, 16, 0, -0.03, 0.01, 5, std::nullopt},
                     {"T3", false, 100, 66, 0, 0.01, 0.03, 7, std::nullopt},
                     {"T4", true, 18, 64, 0, 0.06, 0.05, 4, std::nullopt}};
  accuracy.check_points = 1;
  accuracy.check_rmse_r_m = 0.078;
  accuracy.sentence =
      "One check point, kept out of the fit, lies 0.08 m from where it was found; one point is too few to "
      "state an accuracy.";
}

}  // namespace

MadeFlight make_flight(const std::filesystem::path& out, int count, int long_side_px) {
  std::filesystem::create_directories(out / "frames");
  std::filesystem::create_directories(out / "masks");
  const cv::Mat ground = made_ground();
  MadeFlight flight;
  flight.out = out;
  for (int index = 0; index < count; ++index) {
    FrameRecord frame;
    frame.source.file = name_of(index);
    frame.source.path = out / "frames" / frame.source.file;
    frame.source.width_px = long_side_px;
    frame.source.height_px = long_side_px * 2 / 3;
    frame.source.orientation = index % 10 == 7 ? 6 : 1;
    frame.source.format = "JPEG";
    take_shot_facts(frame, index, frame.source.width_px, frame.source.height_px);
    place_frame(frame, index, count);
    judge(frame, index);
    cv::Mat picture = seen_by(frame, ground);
    blur_picture(frame, picture);
    cv::imwrite(frame.source.path.string(), picture, {cv::IMWRITE_JPEG_QUALITY, 90});
    frame.source.content_hash = digest(fmt::format("{} {}", index, long_side_px));
    if (index % 12 == 4) add_glare(frame, index, out);
    if (repeats_the_one_before(index)) {
      frame.decision.repeat_of = name_of(index - 1);
      frame.decision.verdict = Verdict::drop;
      frame.decision.reasons.push_back({"near-repeat", std::nullopt, std::nullopt, "", Verdict::drop});
    }
    if (index == 2) make_oblique(frame);
    if (index == 1) frame.fault = "ends after 31 of 400 rows; copy it again from the card";
    if (index == 1) frame.placement = {};
    flight.record.frames.push_back(std::move(frame));
  }
  FlightRecord& record = flight.record;
  record.program_version = "0.1.0";
  record.command_line = "lookdown run card -o out";
  record.options_json = "{}";
  record.placement.gsd_m = kGsd_m;
  record.placement.scale_from = "control";
  record.placement.north_from = "control";
  record.placement.scale_sigma_share = 0.002;
  record.placement.mosaic_width_px = kGroundWidth_px;
  record.placement.mosaic_height_px = kGroundHeight_px;
  record.placement.groups = 1;
  add_control(record);
  record.warnings = {
      "3 frames point at the sun's mirror image: the middle of the east pond is hidden by glare in all of "
      "them.",
      std::string("The file ") + kHostileName + " has an odd name."};
  cv::imwrite((out / "mosaic.jpg").string(), ground);
  write_mosaic(ground, out / "mosaic.tif");
  MosaicRecord mosaic;
  mosaic.file = "mosaic.tif";
  mosaic.preview_file = "mosaic.jpg";
  mosaic.width_px = kGroundWidth_px;
  mosaic.height_px = kGroundHeight_px;
  mosaic.covered_share = 0.9;
  mosaic.covered_m2 = 8640;
  for (int index = 0; index < count; ++index)
    if (record.frames[index].placement.placed && record.frames[index].decision.verdict == Verdict::keep &&
        index % 9 != 0)
      mosaic.used_frames.push_back(index);
  mosaic.frames_used = static_cast<int>(mosaic.used_frames.size());
  mosaic.sources_file = "mosaic_sources.tif";
  write_sources(record, out / mosaic.sources_file);
  flight.marks_file = out / "marks.csv";
  write_marks(record, flight.marks_file);
  record.mosaic = mosaic;
  record.clearest_views = {{0, 25, 42, 8, 3, 0.0, 0.4, 3}, {0, 59, 42, 8, 6, 0.08, 0.5, 4}};
  return flight;
}

void forget_placement(MadeFlight& flight) {
  FlightRecord& record = flight.record;
  record.placement = {};
  record.mosaic.reset();
  record.clearest_views.clear();
  record.timings.clear();
  flight.marks_file.clear();
  for (FrameRecord& frame : record.frames) {
    frame.placement = {};
    frame.tilt.reset();
  }
}

}  // namespace lookdown::test
