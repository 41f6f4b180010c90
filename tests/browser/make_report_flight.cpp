// Writes the report of a made-up flight: make_report_flight OUT COUNT [LONG_SIDE_PX [field]], for the browser
// tests and for looking; "field" as culling alone leaves it. Or that of a folder that a run wrote again:
// make_report_flight OUT.
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "pipeline/record/record_json.h"
#include "stages/report/report.h"
#include "tests/unit/report/made_flight.h"

int main(int argc, char** argv) {
  using namespace lookdown;
  if (argc < 2) {
    std::fprintf(stderr, "usage: make_report_flight OUT [COUNT [LONG_SIDE_PX [field]]]\n");
    return 2;
  }
  test::MadeFlight flight;
  if (argc == 2) {
    flight.out = argv[1];
    flight.record = flight_record_from_json(nlohmann::json::parse(std::ifstream(flight.out / "flight.json")));
  } else {
    flight = test::make_flight(argv[1], std::stoi(argv[2]), argc > 3 ? std::stoi(argv[3]) : 900);
  }
  if (argc > 4 && std::string(argv[4]) == "field") test::forget_placement(flight);
  const FrameReader reader;
  const Scheduler scheduler({});
  const Cache cache("");
  Progress progress(false);
  RunContext context{flight.out, reader, scheduler, cache, progress};
  report::Options options;
  options.marks_file = flight.marks_file;
  report::write(flight.record, options, context);
  std::printf("%s\n", (flight.out / "report.html").c_str());
}
