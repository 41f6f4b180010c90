#include "stages/mosaic/seams/kept_ties.h"

#include <cstdint>
#include <nlohmann/json.hpp>
#include <vector>

#include "pipeline/imaging/frame_reader.h"
#include "stages/mosaic/mosaic.h"

namespace lookdown::mosaic {

using nlohmann::json;

KeptTies::KeptTies(const Cache& cache, const std::string& first, const std::string& second, int depth)
    : cache_(cache),
      key_(Cache::key(std::string("ties ") + kMosaicVersion + " " + kReaderVersion, first + second,
                      std::to_string(depth))) {
  const auto bytes = cache_.find(key_);
  const json kept = bytes ? json::from_cbor(*bytes, true, false) : json();
  if (!kept.is_array()) return;
  try {
    for (const json& one : kept)
      known_[{one.at(0).get<int>(), one.at(1).get<int>()}] =
          one.size() > 2 ? Apart({one.at(2).get<double>(), one.at(3).get<double>()}) : std::nullopt;
  } catch (const json::exception&) {
    known_.clear();  // made by a program that kept something else
  }
}

KeptTies::Apart KeptTies::at(cv::Point place, const std::function<Apart()>& measure) {
  const std::pair<int, int> here(place.x, place.y);
  if (const auto found = known_.find(here); found != known_.end()) return found->second;
  any_new_ = true;
  return known_[here] = measure();
}

void KeptTies::keep() const {
  if (!any_new_) return;
  json all = json::array();
  for (const auto& [place, apart] : known_) {
    json one{place.first, place.second};
    if (apart) one.push_back(apart->x), one.push_back(apart->y);
    all.push_back(std::move(one));
  }
  const std::vector<std::uint8_t> bytes = json::to_cbor(all);
  cache_.keep(key_, {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
}

}  // namespace lookdown::mosaic
