// From argv to an exit code: parse first, touching no frame, then run.
#pragma once

namespace lookdown::cli {

/// 0 done, 1 nothing usable, 2 wrong use, 3 failed.
int run_program(int argc, char** argv);

}  // namespace lookdown::cli
