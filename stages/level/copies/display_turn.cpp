#include "stages/level/copies/display_turn.h"

namespace lookdown::level {

Eigen::Matrix2d display_from_stored(int orientation) {
  Eigen::Matrix2d turn;
  switch (orientation) {
    case 2:
      turn << -1, 0, 0, 1;
      break;
    case 3:
      turn << -1, 0, 0, -1;
      break;
    case 4:
      turn << 1, 0, 0, -1;
      break;
    case 5:
      turn << 0, 1, 1, 0;
      break;
    case 6:
      turn << 0, -1, 1, 0;
      break;
    case 7:
      turn << 0, -1, -1, 0;
      break;
    case 8:
      turn << 0, 1, -1, 0;
      break;
    default:
      turn.setIdentity();
      break;
  }
  return turn;
}

bool swaps_sides(int orientation) {
  return orientation >= 5 && orientation <= 8;
}

}  // namespace lookdown::level
