#include "cli/command_line.h"

int main(int argc, char** argv) { return lookdown::cli::run_program(argc, argv); }
