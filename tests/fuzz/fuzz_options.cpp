// An options file: sets options within their ranges, or an exception names the line or the option.
#include <cstdlib>
#include <exception>
#include <optional>
#include <string>
#include <vector>

#include "cli/options/options_file.h"
#include "memory_file.h"

int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace lookdown;
  const MemoryFile file(bytes, size);
  bool flag = false;
  int count = 0;
  double share = 0.5;
  std::string word = "none";
  std::optional<double> height_m;
  std::vector<std::string> names;
  try {
    cli::read_options_file(file.path(), [&](OptionVisitor& visitor) {
      visitor.option({"flag", ""}, flag);
      visitor.option({"cover", "", 0, 100}, count);
      visitor.option({"share", "", 0, 1}, share);
      visitor.option({"collect", "", 0, 0, {"none", "copy"}}, word);
      visitor.option({"height-m", "", 0, 1000}, height_m);
      visitor.option({"check", ""}, names);
    });
  } catch (const std::exception&) {
    return 0;
  }
  if (!(share >= 0 && share <= 1) || count < 0 || count > 100) std::abort();
  if (height_m && !(*height_m >= 0 && *height_m <= 1000)) std::abort();
  if (word != "none" && word != "copy") std::abort();
  return 0;
}
