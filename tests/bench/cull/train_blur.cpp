#include <fmt/format.h>
#include <cstdio>
#include <iostream>
#include <opencv2/core.hpp>
#include <string>
#include "training/blur_training.h"
using namespace lookdown;
int main(int argc, char** argv) {
  cv::setNumThreads(1);
  bench::PackageFolders folders;
  std::vector<std::string> rest;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--root")
      folders.roots.emplace_back(argv[++i]);
    else if (word == "--modules")
      folders.node_modules = argv[++i];
    else
      rest.push_back(word);
  }
  const int count = std::stoi(rest.at(2));
  const auto learn = bench::blurred_samples(bench::read_photographs(rest.at(1), "learn", folders), count, 1);
  std::cout << "samples made\n" << std::flush;
  const auto networks = bench::fit_blur_networks(learn);
  bench::write_networks(rest.at(0), networks);
  bench::print_scores(std::cout, "learnt", networks, learn);
  const auto unseen =
      bench::blurred_samples(bench::read_photographs(rest.at(1), "tune", folders), count / 8, 2);
  bench::print_scores(std::cout, "not learnt", networks, unseen);
}
