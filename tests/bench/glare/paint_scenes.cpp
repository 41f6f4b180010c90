// Writes painted scenes with their masks and a list of them: paint_scenes OUT_FOLDER FIRST_SEED
// LAST_SEED
#include <fmt/format.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>

#include "painted_water.h"

int main(int argc, char** argv) {
  if (argc != 4) return fmt::print("usage: paint_scenes OUT_FOLDER FIRST_SEED LAST_SEED\n"), 2;
  const std::filesystem::path out = argv[1];
  std::filesystem::create_directories(out);
  std::ofstream list(out / "list.csv");
  for (int seed = std::atoi(argv[2]); seed <= std::atoi(argv[3]); ++seed) {
    painted::Choice choice;
    choice.seed = static_cast<std::uint32_t>(seed);
    const painted::Scene scene = painted::paint(choice);
    const std::string stem = (out / fmt::format("{:04}", seed)).string();
    cv::imwrite(stem + ".jpg", scene.bgr, {cv::IMWRITE_JPEG_QUALITY, 97});
    cv::imwrite(stem + "_water.png", scene.water);
    cv::imwrite(stem + "_glare.png", scene.glare);
    cv::imwrite(stem + "_visible_glare.png", scene.visible_glare);
    cv::imwrite(stem + "_crust.png", scene.crust);
    list << stem << ".jpg," << stem << "_water.png," << stem << "_glare.png,1,1\n";
  }
}
