#include "pipeline/base/progress.h"

#include <fmt/core.h>
#include <unistd.h>

#include <cmath>
#include <cstdio>

namespace lookdown {
namespace {
using Clock = std::chrono::steady_clock;
constexpr auto kRedrawEvery = std::chrono::milliseconds(100);

std::string time_left(double seconds) {
  if (seconds < 60) return fmt::format("{:.0f} s", seconds);
  return fmt::format("{:.0f} min {:02.0f} s", std::floor(seconds / 60), std::fmod(seconds, 60.0));
}
}  // namespace

bool Progress::terminal() {
  return ::isatty(STDERR_FILENO) == 1;
}

void Progress::start(const std::string& stage, std::size_t total) {
  stage_ = stage;
  total_ = total;
  started_ = Clock::now();
  drawn_ = started_ - kRedrawEvery;
  step(0);
}

void Progress::step(std::size_t done) {
  if (!shown_ || total_ == 0) return;
  const auto now = Clock::now();
  if (now - drawn_ < kRedrawEvery && done < total_) return;
  drawn_ = now;
  const double spent = std::chrono::duration<double>(now - started_).count();
  std::string left;
  if (done > 0 && done < total_ && spent > 1)
    left = ", " + time_left(spent * double(total_ - done) / double(done)) + " left";
  fmt::print(stderr, "\r\033[K{}: {:.0f} % ({} of {}{})", stage_, 100.0 * double(done) / double(total_), done,
             total_, left);
  std::fflush(stderr);
}

void Progress::finish() {
  if (!shown_ || total_ == 0) return;
  fmt::print(stderr, "\r\033[K");
  std::fflush(stderr);
  total_ = 0;
}

}  // namespace lookdown
