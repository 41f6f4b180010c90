#include "measured_process.h"

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>

namespace lookdown::bench {
namespace {

double seconds(const timeval& time) {
  return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec);
}

}  // namespace

Cost cost_of(const std::function<int()>& work) {
  const auto started = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child == 0) ::_exit(work());
  int status = 0;
  rusage usage{};
  ::wait4(child, &status, 0, &usage);
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count(),
          seconds(usage.ru_utime) + seconds(usage.ru_stime), static_cast<double>(usage.ru_maxrss) / 1024,
          WIFEXITED(status) && WEXITSTATUS(status) == 0};
}

}  // namespace lookdown::bench
