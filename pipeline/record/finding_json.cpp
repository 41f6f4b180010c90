// JSON of what inspect, cull, level and glare find in one frame; these pieces are also what the cache keeps.
#include "pipeline/record/record_json.h"
#include "pipeline/record/record_values_json.h"

namespace lookdown {

using nlohmann::json;

json to_json(const Camera& camera) {
  return json(camera);
}
json to_json(const FrameInfo& frame) {
  return json(frame);
}
json to_json(const Sharpness& sharpness) {
  return json(sharpness);
}
json to_json(const Horizon& horizon) {
  return json(horizon);
}
json to_json(const Tilt& tilt) {
  return json(tilt);
}
json to_json(const Glare& glare) {
  return json(glare);
}
json to_json(const FramePlacement& placement) {
  return json(placement);
}

Camera camera_from_json(const json& j) {
  return j.get<Camera>();
}
Sharpness sharpness_from_json(const json& j) {
  return j.get<Sharpness>();
}
Horizon horizon_from_json(const json& j) {
  return j.get<Horizon>();
}
Tilt tilt_from_json(const json& j) {
  return j.get<Tilt>();
}
Glare glare_from_json(const json& j) {
  return j.get<Glare>();
}

}  // namespace lookdown
