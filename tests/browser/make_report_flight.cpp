// Writes the report of a made-up flight: make_report_flight OUT COUNT [LONG_SIDE_PX]. For the browser test
// and for looking.
#include <cstdio>
#include <cstdlib>
#include <string>

#include "stages/report/report.h"
#include "tests/unit/report/made_flight.h"

int main(int argc, char** argv) {
  if (argc < 3) {
    std::fprintf(stderr, "usage: make_report_flight OUT COUNT [LONG_SIDE_PX]\n");
    return 2;
  }
  using namespace lookdown;
  const test::MadeFlight flight =
      test::make_flight(argv[1], std::stoi(argv[2]), argc > 3 ? std::stoi(argv[3]) : 900);
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
