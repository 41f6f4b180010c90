#include "stages/mosaic/overview/prepared_views.h"

#include <utility>

#include "stages/mosaic/masks/rig_mask.h"

namespace lookdown::mosaic {
namespace {

/// Colours for views of a raised plane, solved where frames show the same at one spot: on the ground.
ColourModel colours_on_the_ground(FlightRecord& flight, const std::vector<FrameView>& views,
                                  const Canvas& canvas, const std::string& order, RunContext& context) {
  const std::vector<FrameView> on_ground = frame_views(flight, canvas, std::nullopt);
  const ColourModel solved =
      solve_colours(flight, on_ground, survey_frames(flight, on_ground, canvas, order, context));
  ColourModel model = unchanged_colours(views);
  for (std::size_t i = 0; i < views.size(); ++i)
    for (std::size_t j = 0; j < on_ground.size(); ++j)
      if (views[i].frame_index == on_ground[j].frame_index) model[i] = solved[j];
  return model;
}

void leave_out_set_aside(PreparedViews& ready) {
  std::size_t kept = 0;
  for (std::size_t i = 0; i < ready.views.size(); ++i) {
    if (ready.views[i].set_aside) continue;
    if (kept != i) {
      ready.views[kept] = std::move(ready.views[i]);
      ready.survey.frames[kept] = std::move(ready.survey.frames[i]);
      ready.colours[kept] = std::move(ready.colours[i]);
    }
    ++kept;
  }
  ready.views.resize(kept);
  ready.survey.frames.resize(kept);
  ready.colours.resize(kept);
}

}  // namespace

PreparedViews prepare_views(FlightRecord& flight, const Canvas& canvas, std::optional<double> plane_height,
                            const surface::HeightGrid& surface, const Options& options, RunContext& context) {
  PreparedViews ready;
  ready.views = frame_views(flight, canvas, plane_height, options.fill, &surface);
  ready.survey = survey_frames(flight, ready.views, canvas, options.order, context);
  ready.colours = !options.colour_balance ? unchanged_colours(ready.views)
                  : plane_height ? colours_on_the_ground(flight, ready.views, canvas, options.order, context)
                                 : solve_colours(flight, ready.views, ready.survey);
  correct_survey(ready.survey, ready.views, ready.colours);
  const std::vector<RidingPart> riding = riding_parts(flight, ready.views, ready.survey);
  leave_out(riding, ready.views, ready.survey);
  for (const RidingPart& part : riding) ready.notes.push_back(in_words(part));
  return ready;
}

void keep_what_is_shown(PreparedViews& ready) {
  leave_out_set_aside(ready);
  keep_fills_to_gaps(ready.views, ready.survey);
}

}  // namespace lookdown::mosaic
