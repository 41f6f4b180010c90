#include "stages/mosaic/render/scene.h"

#include <algorithm>

namespace lookdown::mosaic {

cv::Rect cells_round(const Survey& survey, const cv::Rect& area, int rim) {
  const int cell = survey.cell_px;
  const cv::Point first(std::max(0, area.x / cell - rim), std::max(0, area.y / cell - rim));
  const cv::Point last(std::min(survey.columns, (area.br().x - 1) / cell + 1 + rim),
                       std::min(survey.rows, (area.br().y - 1) / cell + 1 + rim));
  return {first, last};
}

}  // namespace lookdown::mosaic
