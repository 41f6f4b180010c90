#include "pipeline/record/record_json.h"

#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

#include "pipeline/record/record_values_json.h"

namespace lookdown {

using nlohmann::json;

json to_json(const FlightRecord& record) {
  json j{{"program", "lookdown"},
         {"program_version", record.program_version},
         {"command_line", record.command_line},
         {"placement", record.placement},
         {"notes", record.notes},
         {"warnings", record.warnings},
         {"frames", record.frames},
         {"timings", record.timings}};
  j["options"] = record.options_json.empty() ? json::object() : json::parse(record.options_json);
  put(j, "surface", record.surface);
  put(j, "mosaic", record.mosaic);
  if (!record.clearest_views.empty()) j["clearest_views"] = record.clearest_views;
  return j;
}

FlightRecord flight_record_from_json(const json& j) {
  if (!j.is_object() || j.value("program", "") != "lookdown")
    throw std::runtime_error("this is no lookdown flight record");
  try {
    FlightRecord record;
    take(j, "program_version", record.program_version);
    take(j, "command_line", record.command_line);
    take(j, "notes", record.notes);
    take(j, "warnings", record.warnings);
    record.options_json = j.value("options", json::object()).dump();
    j.at("placement").get_to(record.placement);
    for (const json& frame : j.at("frames"))
      for (const char* needed : {"source", "info", "decision", "placement"}) (void)frame.at(needed);
    j.at("frames").get_to(record.frames);
    take(j, "surface", record.surface);
    take(j, "mosaic", record.mosaic);
    take(j, "clearest_views", record.clearest_views);
    take(j, "timings", record.timings);
    return record;
  } catch (const json::exception& error) {
    throw std::runtime_error(std::string("the flight record is damaged: ") + error.what());
  }
}

bool holds_a_run(const std::filesystem::path& folder) {
  if (std::filesystem::exists(folder / ".lock") && std::filesystem::exists(folder / ".cache")) return true;
  std::ifstream stream(folder / "flight.json", std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(stream), {}};
  return text.find("\"program\": \"lookdown\"") != std::string::npos;
}

}  // namespace lookdown
