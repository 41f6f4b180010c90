// Scores of the single-frame search on real pictures that somebody has labelled by eye.
#pragma once

#include <filesystem>
#include <string>

namespace scoring {

struct TileChoice {
  std::filesystem::path labels;    ///< CSV: tile, photo, "yes", "no" or "unsure"; with a heading
  std::filesystem::path tiles;     ///< the folder that they are in
  std::filesystem::path outlines;  ///< masks of water, TILE.png, 255 = water, for some tiles; may be empty
  std::filesystem::path glitter;   ///< the same of glare; may be empty
  std::filesystem::path pictures;  ///< each tile beside its masks is written here; may be empty
  bool each = false;               ///< a line for each tile
  std::string photos;              ///< comma-separated photos to score; empty: all
};
/// Prints ROC area of the marked share, share marked in tiles without glint, share of the tiles with glint
/// that get 0.3 % or more, IoU of water and of glare with the outlines, and processor time; beside it the
/// same for a plain rule: specks brighter than a median of 15 px in all channels, where the median is smooth.
void score_tiles(const TileChoice&);

}  // namespace scoring
