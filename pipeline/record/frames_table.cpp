#include <fmt/core.h>

#include <cmath>

#include "pipeline/base/files/csv.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

std::string number(double value, int decimals) {
  return std::isfinite(value) ? fmt::format("{:.{}f}", value, decimals) : "";
}
std::string number(const std::optional<double>& value, int decimals) {
  return value ? number(*value, decimals) : "";
}

std::string reason_words(const Decision& decision) {
  std::string words;
  for (const Reason& reason : decision.reasons) words += (words.empty() ? "" : ";") + reason.word;
  return words;
}

class Row {
 public:
  void add(const std::string& cell) {
    if (!text_.empty() || cells_ > 0) text_ += ',';
    text_ += cell;
    ++cells_;
  }
  void add_empty(int count) {
    for (int i = 0; i < count; ++i) add("");
  }
  [[nodiscard]] std::string line() const { return text_ + "\r\n"; }

 private:
  std::string text_;
  int cells_ = 0;
};

void add_source(Row& row, const FrameRecord& f) {
  row.add(f.source.width_px ? std::to_string(f.source.width_px) : "");
  row.add(f.source.height_px ? std::to_string(f.source.height_px) : "");
  row.add(f.info.taken_at.value_or(""));
  row.add(csv_cell(f.info.make.empty() || f.info.model.starts_with(f.info.make)
                       ? f.info.model
                       : f.info.make + " " + f.info.model));
  const bool known = f.info.camera.fx_px > 0;
  row.add(known ? number(f.info.camera.fx_px, 1) : "");
  row.add(known ? f.info.camera.focal_from : "");
  row.add(f.info.exposure_s ? fmt::format("{:.4g}", *f.info.exposure_s) : "");
  row.add(number(f.info.iso, 0));
}

void add_decision(Row& row, const FrameRecord& f) {
  // What nobody has looked at has no verdict.
  const bool judged = f.fault || f.sharpness || f.decision.by_person;
  row.add(!judged ? "" : word(f.fault ? Verdict::drop : f.decision.verdict));
  row.add(csv_cell(f.fault ? *f.fault : reason_words(f.decision)));
}

void add_sharpness(Row& row, const FrameRecord& f) {
  if (!f.sharpness) return row.add_empty(6);
  row.add(number(f.sharpness->sharpness, 3));
  row.add(number(f.sharpness->blur_fwhm_px, 2));
  row.add(number(f.sharpness->smear_px, 1));
  row.add(number(f.sharpness->smear_deg, 1));
  row.add(number(f.sharpness->clipped_high_share, 4));
  row.add(number(f.sharpness->clipped_low_share, 4));
}

void add_level(Row& row, const FrameRecord& f) {
  row.add(f.horizon ? f.horizon->kind : f.horizon_looked_for ? "none" : "");
  row.add(f.horizon ? number(f.horizon->roll_deg, 2) : "");
  row.add(f.horizon ? number(f.horizon->pitch_deg, 2) : "");
  row.add(f.tilt ? number(f.tilt->off_nadir_deg, 2) : "");
  row.add(f.tilt ? f.tilt->from : "");
  row.add(f.tilt ? number(f.tilt->sigma_deg, 2) : "");
}

void add_place(Row& row, const FrameRecord& f, const FlightPlacement& placement) {
  const FramePlacement& p = f.placement;
  row.add(f.fault ? "" : p.placed ? "yes" : "no");
  if (!p.placed) return row.add_empty(4);
  row.add(std::to_string(p.group));
  row.add(number(p.rmse_px, 2));
  // A group that does not touch the first has no scale in common with it.
  const bool metric = placement.gsd_m && p.group == 0;
  row.add(metric ? number(ground_sample_distance(p.pose, p.camera).across, 5) : "");
  row.add(metric ? number(p.pose.centre.z(), 2) : "");
}

}  // namespace

std::string frames_table(const FlightRecord& record) {
  // What a person looks for first stands first.
  std::string table =
      "file,verdict,reasons,used,view,width_px,height_px,taken_at,camera,focal_px,focal_from,exposure_s,iso,"
      "sharpness,blur_fwhm_px,smear_px,smear_deg,clipped_high_share,clipped_low_share,repeat_of,"
      "horizon,roll_deg,pitch_deg,off_nadir_deg,tilt_from,tilt_sigma_deg,"
      "water_share,glare_share,glare_kind,readable_share,placed,group,rmse_px,gsd_m,camera_height_m\r\n";
  for (std::size_t i = 0; i < record.frames.size(); ++i) {
    const FrameRecord& frame = record.frames[i];
    Row row;
    row.add(csv_cell(frame.source.file));
    add_decision(row, frame);
    row.add(!record.mosaic ? "" : is_used(record, i) ? "yes" : "no");
    row.add(frame.fault || !frame.sharpness ? "" : word(frame.decision.view));
    add_source(row, frame);
    add_sharpness(row, frame);
    row.add(csv_cell(frame.decision.repeat_of));
    add_level(row, frame);
    row.add(frame.glare ? number(frame.glare->water_share, 4) : "");
    row.add(frame.glare ? number(frame.glare->glare_share, 4) : "");
    row.add(frame.glare ? frame.glare->kind : "");
    row.add(frame.glare ? number(frame.glare->readable_water_share, 4) : "");
    add_place(row, frame, record.placement);
    table += row.line();
  }
  return table;
}

std::string least_glare_table(const FlightRecord& record) {
  std::string table = "group,x,y,side,file,glare_share,worst_glare_share,views\r\n";
  for (const ClearestView& spot : record.clearest_views)
    table += fmt::format("{},{},{},{},{},{},{},{}\r\n", spot.group, number(spot.x, 3), number(spot.y, 3),
                         number(spot.side, 3), csv_cell(record.frames.at(spot.frame).source.file),
                         number(spot.glare_share, 4), number(spot.worst_glare_share, 4), spot.views);
  return table;
}

}  // namespace lookdown
