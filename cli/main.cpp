#include "cli/command_line.h"

#include <cstdlib>  // tells whether the C library is GNU's, which the next line asks

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace {

// Pictures come and go by the hundred, and by default each is asked of the kernel anew, which clears it page
// by page: a seventh of the time of a run. A quarter of a gigabyte at most is held back for the next one.
void keep_freed_memory() {
#ifdef __GLIBC__
  mallopt(M_MMAP_THRESHOLD, 32 << 20);  // the largest that it takes
  mallopt(M_TRIM_THRESHOLD, 256 << 20);
  mallopt(M_TOP_PAD, 64 << 20);
#endif
}

}  // namespace

int main(int argc, char** argv) {
  keep_freed_memory();
  return lookdown::cli::run_program(argc, argv);
}
