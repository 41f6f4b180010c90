// flight.json of an earlier run: read back and written again, or refused by an exception.
#include <exception>
#include <nlohmann/json.hpp>

#include "memory_file.h"
#include "pipeline/record/record_json.h"

int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace lookdown;
  try {
    const FlightRecord record = flight_record_from_json(nlohmann::json::parse(bytes, bytes + size));
    (void)to_json(record).dump();
    (void)placement_document(record).dump();
    (void)frames_table(record);
  } catch (const std::exception&) {
    return 0;
  }
  return 0;
}
