// The index of many flights: a page of its own that needs nothing beside it but the flights' folders.
#include <cpl_string.h>
#include <fmt/core.h>

#include <cmath>

#include "cli/flights/many_flights.h"

namespace lookdown::cli {
namespace {

// The palette of the report, light and dark. Below 700 px a flight is a block of named lines.
constexpr const char* kStyle = R"(
:root{--ground:#f5f3ec;--sheet:#fffdf7;--ink:#1b2a2b;--soft:#4a5a59;--line:#cfccbd;--link:#0c5468;--bad:#a02c3c;color-scheme:light}
@media(prefers-color-scheme:dark){:root{--ground:#171d1c;--sheet:#202827;--ink:#e9e6da;--soft:#b3b9ae;--line:#3d4745;--link:#8cc9d9;--bad:#f199a5;color-scheme:dark}}
body{font:1rem/1.45 system-ui,"DejaVu Sans",sans-serif;margin:0 auto;max-width:1500px;padding:1rem 1.2rem 3rem;color:var(--ink);background:var(--ground)}
h1{font-size:1.35rem;margin:0}
p{margin:.3rem 0 1.2rem;color:var(--soft)}
a{color:var(--link)}
table{border-collapse:collapse;width:100%}
th,td{padding:.5rem 1.2rem .5rem 0;text-align:left;border-bottom:1px solid var(--line);vertical-align:top;overflow-wrap:anywhere}
thead th{color:var(--soft);font-weight:400;font-size:.85rem}
tbody th{font-weight:600}
.n{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}
.failed{color:var(--bad);font-weight:600}
img{display:block;max-width:16rem;max-height:12rem;background:#fff}
@media(max-width:700px){
thead{display:none}
tr{display:block;background:var(--sheet);border:1px solid var(--line);border-radius:5px;padding:.6rem .8rem;margin-bottom:.8rem}
tbody th,td{display:block;border:0;padding:.1rem 0;text-align:left}
tbody .n{text-align:left}
td[data-name]::before{content:attr(data-name) ": ";color:var(--soft)}
td:empty{display:none}
})";

// GDAL's escaping for markup and for addresses; the page puts every name between double quotes.
std::string escaped(const std::string& text, int scheme) {
  char* made = CPLEscapeString(text.data(), static_cast<int>(text.size()), scheme);
  std::string out = made;
  CPLFree(made);
  return out;
}
std::string html_escaped(const std::string& text) {
  return escaped(text, CPLES_XML);
}
std::string url_escaped(const std::string& text) {
  return escaped(text, CPLES_URL);
}

std::string number_cell(const char* name, const std::string& text) {
  return fmt::format("<td class=n data-name=\"{}\">{}</td>", name, text);
}

std::string count_or_empty(const std::optional<int>& count) {
  return count ? fmt::format("{}", *count) : "";
}

std::string pixel_in_words(const FlightOutcome& o) {
  if (o.exit_code != kDone) return "";
  return o.gsd_m ? fmt::format("{:.3g} mm", 1000 * *o.gsd_m) : "no scale";
}

std::string duration_in_words(double seconds) {
  const auto whole = static_cast<long>(std::lround(seconds));
  return whole < 60 ? fmt::format("{} s", whole) : fmt::format("{} min {:02} s", whole / 60, whole % 60);
}

std::string row_of(const FlightOutcome& o) {
  const std::string folder = url_escaped(o.name), name = html_escaped(o.name);
  const bool done = o.exit_code == kDone;
  const bool failed = o.has_pictures && !done;
  std::string row = "<tr><th scope=row>";
  row += done ? fmt::format("<a href=\"./{}/report.html\">{}</a>", folder, name) : name;
  row += fmt::format("</th><td{}>{}</td>", failed ? " class=failed" : "", outcome_word(o));
  row += number_cell("frames", count_or_empty(o.frames)) + number_cell("kept", count_or_empty(o.kept)) +
         number_cell("joined", count_or_empty(o.placed)) +
         number_cell("a pixel on the ground", pixel_in_words(o)) +
         number_cell("time", o.has_pictures ? duration_in_words(o.seconds) : "");
  const std::string picture = fmt::format(
      "<a href=\"./{0}/mosaic.jpg\"><img src=\"./{0}/mosaic.jpg\" alt=\"Mosaic of {1}\" "
      "loading=lazy></a>",
      folder, name);
  row += fmt::format("<td>{}</td>", !done                      ? html_escaped(o.last_words)
                                    : o.placed.value_or(0) > 0 ? picture
                                                               : std::string("no frames could be joined"));
  return row +
         (o.has_pictures ? fmt::format("<td><a href=\"./{}/run.log\">log</a></td>", folder) : "<td></td>") +
         "</tr>\n";
}

std::string totals_in_words(const std::vector<FlightOutcome>& outcomes) {
  int done = 0, without_pictures = 0, frames = 0, kept = 0, joined = 0;
  double seconds = 0;
  for (const FlightOutcome& o : outcomes) {
    done += o.exit_code == kDone;
    without_pictures += !o.has_pictures;
    frames += o.frames.value_or(0);
    kept += o.kept.value_or(0);
    joined += o.placed.value_or(0);
    seconds += o.seconds;
  }
  const auto all = static_cast<int>(outcomes.size());
  std::string text = fmt::format("{} of {} {} done", done, all, all == 1 ? "flight" : "flights");
  if (without_pictures > 0) text += fmt::format(", {} without pictures", without_pictures);
  if (const int failed = all - done - without_pictures; failed > 0) text += fmt::format(", {} not", failed);
  return text + fmt::format("; {} frames, {} kept, {} joined; {}.", frames, kept, joined,
                            duration_in_words(seconds));
}

}  // namespace

std::string index_page(const std::vector<FlightOutcome>& outcomes) {
  std::string rows;
  for (const FlightOutcome& outcome : outcomes) rows += row_of(outcome);
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport "
      "content=\"width=device-width, initial-scale=1\"><title>Flights</title>\n<style>{}</style></head>\n"
      "<body><h1>Flights</h1>\n<p>{}</p>\n"
      "<table><thead><tr><th scope=col>Flight</th><th scope=col>Outcome</th><th scope=col class=n>Frames</th>"
      "<th scope=col class=n>Kept</th><th scope=col class=n>Joined</th>"
      "<th scope=col class=n>A pixel on the ground</th><th scope=col class=n>Time</th>"
      "<th scope=col>Mosaic, or why not</th><th scope=col>What it said</th></tr></thead>\n<tbody>\n{}"
      "</tbody></table>\n</body></html>\n",
      kStyle, totals_in_words(outcomes), rows);
}

}  // namespace lookdown::cli
