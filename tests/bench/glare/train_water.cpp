// Learns what water and glitter usually look like, for stages/glare/water/usual_look.inc:
//   train_water OUT.inc FIRST_SEED LAST_SEED [--photographs LIST] [--root FOLDER]... [--dry FOLDER]...
//   [FLIGHT_FOLDER...]
// from scenes that are painted here (of the seeds given), from flights of `render_flight --masks`, from the
// photographs of dry ground that LIST names, whose packages lie below the roots, and from every fifth frame
// of flights of `paint_flight` over dry ground; each picture as it is and twice in other light and colours,
// size, softness and noise, with bars and shade of trees.
// Deterministic.
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <opencv2/ml.hpp>
#include <random>

#include "stages/glare/water/usual_look.h"
#include "tests/bench/packages/package_files.h"
#include "varied_pictures.h"

namespace {

using namespace lookdown::glare;

struct Samples {
  cv::Mat numbers, answers;  // CV_32FC1, one row a tile; answers -1..1: water, glitter
};

// Share of each tile that is `mask`, one row a tile.
cv::Mat shares(const cv::Mat& mask, cv::Size grid) {
  constexpr int kSide = 2 * kGlitterTilePx;
  cv::Mat padded, share;
  const cv::Rect whole(0, 0, grid.width * kSide, grid.height * kSide);
  const cv::Mat within = mask(whole & cv::Rect({0, 0}, mask.size()));
  cv::copyMakeBorder(within, padded, 0, whole.height - within.rows, 0, whole.width - within.cols,
                     cv::BORDER_REPLICATE);
  cv::resize(padded, share, grid, 0, 0, cv::INTER_AREA);
  share.convertTo(share, CV_32FC1, 1 / 255.0);
  return share.reshape(1, static_cast<int>(share.total()));
}

// Every so many tiles: neighbours say the same.
void add_picture(Samples& samples, const cv::Mat& bgr, const cv::Mat& truth, std::uint32_t first) {
  constexpr int kStep = 5;
  constexpr double kAllGlitter = 0.3;  // share of a tile that specks cover in the midst of a field
  const WorkingPicture picture = prepare_look(bgr, bgr.size());
  const GlitterTiles tiles = glitter_tiles(picture.bgr, picture.calm_bgr.size());
  const cv::Mat numbers = tile_numbers(tiles);
  cv::Mat of_size, answers;
  cv::resize(truth, of_size, picture.bgr.size(), 0, 0, cv::INTER_AREA);
  std::vector<cv::Mat> masks;
  cv::split(of_size, masks);
  const cv::Size grid = tiles.luminance.size();
  cv::hconcat(2 * shares(masks[0], grid) - 1, 2 * cv::min(shares(masks[2], grid) / kAllGlitter, 1.0) - 1,
              answers);
  for (int i = static_cast<int>(first % kStep); i < numbers.rows; i += kStep) {
    samples.numbers.push_back(numbers.row(i));
    samples.answers.push_back(answers.row(i));
  }
}

// In an order of chance: small steps are taken sample by sample.
Samples shuffled(const Samples& samples) {
  std::vector<int> order(static_cast<std::size_t>(samples.numbers.rows));
  std::iota(order.begin(), order.end(), 0);
  std::mt19937 engine(1);  // the standard's own shuffle differs between libraries
  for (std::size_t i = order.size(); i > 1; --i) std::swap(order[i - 1], order[engine() % i]);
  Samples out;
  out.numbers.create(samples.numbers.size(), CV_32FC1), out.answers.create(samples.answers.size(), CV_32FC1);
  for (int to = 0; const int from : order) {
    samples.numbers.row(from).copyTo(out.numbers.row(to));
    samples.answers.row(from).copyTo(out.answers.row(to++));
  }
  return out;
}

std::string learned(const Samples& samples) {
  constexpr int kHidden = 64, kRounds = 8;
  constexpr double kStep = 0.002, kMomentum = 0.9;
  cv::Mat mean, spread;
  for (int i = 0; i < samples.numbers.cols; ++i) {
    cv::Scalar of_mean, of_spread;
    cv::meanStdDev(samples.numbers.col(i), of_mean, of_spread);
    mean.push_back(static_cast<float>(of_mean[0])), spread.push_back(static_cast<float>(of_spread[0] + 1e-6));
  }
  mean = mean.t(), spread = spread.t();
  const cv::Ptr<cv::ml::ANN_MLP> perceptron = cv::ml::ANN_MLP::create();
  perceptron->setLayerSizes(cv::Mat(std::vector<int>{samples.numbers.cols, kHidden, samples.answers.cols}));
  perceptron->setActivationFunction(cv::ml::ANN_MLP::SIGMOID_SYM, 1, 1);
  perceptron->setTrainMethod(cv::ml::ANN_MLP::BACKPROP, kStep, kMomentum);
  perceptron->setTermCriteria({cv::TermCriteria::COUNT, kRounds, 0});
  const Samples mixed = shuffled(samples);
  perceptron->train(cv::ml::TrainData::create(in_usual_spreads(mixed.numbers, mean, spread),
                                              cv::ml::ROW_SAMPLE, mixed.answers),
                    cv::ml::ANN_MLP::NO_OUTPUT_SCALE);
  cv::FileStorage file("usual_look.yml", cv::FileStorage::WRITE | cv::FileStorage::MEMORY);
  file << "mean" << mean << "spread" << spread << "perceptron"
       << "{";
  perceptron->write(file);
  file << "}";
  return file.releaseAndGetString();
}

void add_frames(std::vector<std::filesystem::path>& pictures, const std::filesystem::path& folder) {
  constexpr std::size_t kEvery = 5;
  std::vector<std::filesystem::path> frames;
  for (const auto& entry : std::filesystem::directory_iterator(folder))
    if (entry.path().extension() == ".jpg") frames.push_back(entry.path());
  std::sort(frames.begin(), frames.end());
  for (std::size_t i = 0; i < frames.size(); i += kEvery) pictures.push_back(frames[i]);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4)
    return fmt::print(
               "usage: train_water OUT.inc FIRST_SEED LAST_SEED [--photographs LIST] [--root FOLDER]... "
               "[--dry FOLDER]... [FLIGHT_FOLDER...]\n"),
           2;
  cv::setNumThreads(1);
  constexpr std::uint32_t kOthers = 2;
  const auto number = [&](int i) { return static_cast<std::uint32_t>(std::atoi(argv[i])); };
  scoring::TrainingSources sources{{}, number(2), number(3), {}};
  lookdown::bench::PackageFolders packages;
  std::string list;
  for (int i = 4; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--photographs" && i + 1 < argc)
      list = argv[++i];
    else if (word == "--root" && i + 1 < argc)
      packages.roots.emplace_back(argv[++i]);
    else if (word == "--dry" && i + 1 < argc)
      add_frames(sources.dry_pictures, argv[++i]);
    else
      sources.flights.push_back(word);
  }
  std::ifstream listed(list);
  if (!list.empty() && !listed) return fmt::print("{}: cannot be read\n", list), 1;
  for (std::string row; std::getline(listed, row);)
    if (!row.starts_with('#')) sources.dry_pictures.push_back(lookdown::bench::package_file(row, packages));
  Samples samples;
  scoring::for_each_training_picture(sources, [&](const scoring::TrainingPicture& picture,
                                                  std::uint32_t seed) {
    add_picture(samples, picture.bgr, picture.truth, seed);
    for (std::uint32_t k = 1; k <= kOthers; ++k) {
      const scoring::VariedPicture other = scoring::varied(picture.bgr, picture.truth, kOthers * seed + k);
      add_picture(samples, other.bgr, other.truth, seed + k);
    }
  });
  std::ofstream(argv[1]) << "// Written by train_water (tests/bench/glare).\n"
                            "constexpr const char* kUsualLook = R\"("
                         << learned(samples) << ")\";\n";
  fmt::print("{} tiles\n", samples.numbers.rows);
}
